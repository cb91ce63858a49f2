import numpy as np
import pytest

from armcarry.views import gl
from armcarry.views.daylight import Level
from armcarry.views.indoors import indoors, indoors_at
from armcarry.views.page.facts import page_facts
from armcarry.views.stage import Stage
from short_days import HOUR, flown


@pytest.fixture(scope="module")
def walk(tmp_path_factory):
    path = tmp_path_factory.mktemp("indoors") / "hour.yaml"
    path.write_text(HOUR, encoding="utf-8")
    return flown(path)


def test_who_is_inside_follows_the_ledger(walk):
    for time_s in np.linspace(walk.motion.start_s, walk.motion.end_s - 1.0, 50):
        page = walk.ledger.at(time_s)
        names = (*page.people, *page.states)
        assert indoors_at(walk, time_s) == {name for name in names if page.is_inside(name)}
    assert "ev1" in indoors(walk) and "thermal_blanket" not in indoors(walk)


@pytest.mark.skipif(gl.problem() is not None, reason="no OpenGL here")
def test_nobody_behind_the_hatch_is_drawn_or_casts_a_shadow(walk):
    with Stage(walk, (64, 36), Level.PLAIN) as stage:
        scene = stage.scene

        def drawn(who):
            rows = {k for k, body in enumerate(walk.bodies) if body.name.startswith(f"{who}/")}
            return {bool(actor.GetVisibility()) for actor, some in zip(scene.actors, scene.drawn, strict=True)
                    if rows & set(some)}  # fmt: skip

        stage.show(600.0)
        assert drawn("ev1") == {False} and True in drawn("ev2")
        few = len(scene.corners_m())
        rows = [k for k, body in enumerate(walk.bodies) if body.name.startswith("ev1/")]
        own = sum(len(p.surface.faces) for p in scene._parts if p.when == "dress" and p.pieces[0][0] in rows)
        assert own > 500 and few == sum(
            len(p.surface.faces) for p in scene._parts if p.when != "proven") - own
        scene.see_through([body.name for body in walk.bodies if body.name.startswith("platform/")][:3])
        stage.show(600.0)
        scene.solid()
        assert drawn("ev1") == {False} and drawn("platform") == {True}


def test_the_page_is_told(walk):
    assert page_facts(walk, ())["indoors"]["ev1"][0][0] == walk.motion.start_s
