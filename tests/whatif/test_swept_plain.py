"""Which stretches of a run sweep room, and what is asked of it, on a plain arm."""

import numpy as np
import pytest

from armcarry.errors import InputError
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.record.record import MoveSpan, Record
from armcarry.timeline.run import Phase
from armcarry.whatif import swept
from armcarry.whatif.swept import closest_map, envelope, stretches

WALL = Body("wall", "yard", Sphere(0.1), poses.translation((3.0, 0.0, 0.0)))


@pytest.fixture
def run(rider_scene, moving_record):
    """Build a run of 10 s of three carries, the rider off for the last 4 s of it."""

    def build(bodies=(WALL,)):
        scene = rider_scene({}, bodies)
        off = scene.tree.attach("ev1", "world", np.eye(4))
        spans = (("a", 0.0, 2.0), ("a", 2.0, 3.0), ("b", 3.0, 3.0), ("b", 3.0, 5.0), ("a", 5.0, 7.0), ("c", 7.0, 10.0))
        moves = tuple(MoveSpan(name, k, "", "line", *span, "rider") for k, (name, *span) in enumerate(spans))
        record = moving_record(scene, {"arm/j1": [0.02]})
        return Record(scene, (Phase(0.0, 6.0, scene.tree), Phase(6.0, 10.0, off)), record.motion, moves)

    return build


def _told(record, carries=()):
    return [(part.start_s, part.end_s) for part in stretches(record, carries)]


@pytest.mark.parametrize(("carries", "spans"), [
    ((), [(0.0, 6.0), (6.0, 10.0)]), (("a",), [(0.0, 3.0), (5.0, 6.0), (6.0, 7.0)]), (("b",), [(3.0, 5.0)]),
    (("a", "b"), [(0.0, 6.0), (6.0, 7.0)]), (("c",), [(7.0, 10.0)]),
    (("c", "a"), [(0.0, 3.0), (5.0, 6.0), (6.0, 10.0)]),
])  # fmt: skip
def test_carries_are_cut_at_phases_and_neighbours_joined(run, carries, spans):
    assert _told(run(), carries) == spans


def test_what_hangs_from_the_arms_joints_moves_in_each_phase(run):
    record = run()
    before, after = stretches(record)
    for part, phase, owners in ((before, record.phases[0], {"arm", "restraint", "ev1"}),
                                (after, record.phases[1], {"arm", "restraint"})):  # fmt: skip
        assert part.tree is phase.tree and part.motion is record.motion
        assert {part.tree.bodies[row].name.split("/")[0] for row in part.moving} == owners


def test_a_carry_that_is_not_there_is_refused_with_those_that_are(run):
    with pytest.raises(InputError) as caught:
        stretches(run(), ("a", "z"))
    assert str(caught.value) == "the run has no carry of this name; found 'z'; accepted: a, b, c"


@pytest.mark.parametrize(("cell_m", "known"), [(0.01, True), (2.0, True), (0.0099, False), (2.01, False)])
def test_a_grid_has_a_sensible_size(run, monkeypatch, cell_m, known):
    monkeypatch.setattr(swept, "swept_envelope", lambda parts, *, cell_m: (parts, cell_m))
    record = run()
    if known:
        parts, cell = envelope(record, ("b",), cell_m)
        assert cell == cell_m and [(part.start_s, part.end_s) for part in parts] == [(3.0, 5.0)]
        assert envelope(record)[1] == 0.15 and len(envelope(record)[0]) == 2
        return
    with pytest.raises(InputError) as caught:
        envelope(record, (), cell_m)
    assert str(caught.value) == f"no grid is made with this cell; found '{cell_m:g} m'; accepted: 0.01 m to 2 m"


def test_where_nothing_moves_nothing_is_swept(run, monkeypatch):
    monkeypatch.setattr(swept, "stretches", lambda record, carries=(): [])
    with pytest.raises(InputError, match=r"^nothing moves in this run, so that nothing is swept$"):
        envelope(run())
    with pytest.raises(InputError, match=r"^the run has no structure, or nothing that moves$"):
        closest_map(run())


def test_the_map_is_of_the_faces_of_what_stands(run, monkeypatch):
    told = {}

    def surface_map(parts, standing, passed, **more):
        told.update(parts=parts, standing=standing, passed=passed, **more)
        return "map"

    monkeypatch.setattr(swept, "surface_map", surface_map)
    record = run()
    assert closest_map(record) == "map"
    names = [body.name for body in record.bodies]
    assert [names[row] for row in told["standing"]] == ["platform/wall"]
    assert [(part.start_s, part.end_s) for part in told["parts"]] == [(0.0, 6.0), (6.0, 10.0)]
    assert (told["edge_m"], told["report_distance_m"], told["tolerance_m"], told["passed"]) == (0.4, 2.0, 0.05, ())
    with pytest.raises(InputError, match=r"^the run has no structure, or nothing that moves$"):
        closest_map(run(bodies=()))
