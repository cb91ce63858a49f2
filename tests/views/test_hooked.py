"""Who holds what and is hooked to what, as the views say and draw it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armcarry.ledger.book import keep
from armcarry.ledger.state import ItemRule, ItemState, Page, PersonState
from armcarry.views import gl
from armcarry.views.hooked import all_tethers, hands_at, hands_table, hands_words, holding_words, tether_ends_m
from armcarry.views.lanes import hands_lanes
from armcarry.views.stage import Stage


@pytest.fixture(scope="module")
def record(hooked_run):
    return hooked_run


def test_hands_and_tethers_in_words():
    assert holding_words(PersonState()) == ""
    both = PersonState(left="pump_box", right="pump_box", restraint="restraint", tethers=frozenset({"porch_rail"}))
    assert holding_words(both) == "pump box in both hands, in restraint, hooked to porch rail"
    assert holding_words(PersonState(right="bag")) == "bag in the right hand"


def test_lines_run_between_what_is_hooked_while_it_is(record):
    assert all_tethers(record) == (("blanket", "ev1"), ("ev1", "keel_port_5"))
    assert np.isnan(tether_ends_m(record, 330.0)[0]).all()
    ends = tether_ends_m(record, 150.0)
    assert np.linalg.norm(ends[0, 0] - ends[0, 1]) < 1.5
    tree, links = record.link_poses(150.0)
    np.testing.assert_allclose(ends[0, 0], links[tree.index("blanket/handhold"), :3, 3])


def test_lanes_say_who_holds_what_and_what_the_arm_is(record):
    lanes = {lane.name: [bar.words for bar in lane.bars] for lane in hands_lanes(record).lanes}
    assert lanes == {
        "arm": ["safe"],
        "ev1": ["hooked to keel port 5", "blanket in the right hand, hooked to keel port 5", "hooked to keel port 5"],
        "blanket": ["", "hooked to ev1", ""],
    }


def test_a_table_says_from_when_to_when_who_holds_what_and_is_hooked_to_what(record):
    table = hands_table(record)
    assert table.rows == (
        ("0:00:00.0", "0:03:00.0", "ev1", "hooked to keel port 5"),
        ("0:01:00.0", "0:05:00.0", "blanket", "hooked to ev1"),
        ("0:03:00.0", "0:04:00.0", "ev1", "blanket in the right hand, hooked to keel port 5"),
        ("0:04:00.0", "0:06:00.0", "ev1", "hooked to keel port 5"),
    )
    assert hands_at(record, 200.0) == "ev1: blanket in the right hand, hooked to keel port 5"
    bare = replace(record.ledger.start, people={"ev1": PersonState()})
    assert hands_table(replace(record, kept=keep(bare, ()))) is None


def test_what_trails_is_said():
    state = ItemState("held", tethers=frozenset({"ev1"}))
    page = Page({"box": ItemRule("box")}, {}, {"box": state}, {"ev1": PersonState(tethers=frozenset({"rail"}))})
    assert hands_words(page, "ev1") == "box trailing, hooked to rail"


def test_pictures_draw_a_line_along_every_tether_that_is_hooked(record):
    if gl.problem() is not None:
        pytest.skip("nothing can be drawn here")
    with Stage(record, (320, 180)) as stage:
        counts = []
        for time_s in (150.0, 330.0):
            stage.show(time_s)
            lines = [actor for actor in stage.plotter.renderer.actors.values() if actor in stage._tethers]
            counts.append(len(lines))
    assert counts == [2, 1]


def test_the_movie_captions_who_holds_what_in_a_line_of_its_own(record):
    from armcarry.views.cuts import Cut
    from armcarry.views.filming import _caption

    class Written:
        def caption(self, lines):
            self.lines = lines

    sheet = Written()
    _caption(record, sheet, 200.0, Cut(190.0, 210.0))
    assert sheet.lines[-1] == "ev1: blanket in the right hand, hooked to keel port 5"
    _caption(record, sheet, 330.0, Cut(320.0, 340.0))
    assert len(sheet.lines) == 3  # the band keeps its height


def test_a_person_is_hooked_at_the_chest_and_a_hook_slides_along_its_rail(record):
    ends = tether_ends_m(record, 330.0)[1]
    tree, links = record.link_poses(330.0)
    np.testing.assert_allclose(ends[0], links[tree.index("ev1/chest"), :3, 3])
    rail = [links[tree.index(f"platform/keel_port_5_{end}"), :3, 3] for end in ("from", "to")]
    along = (rail[1] - rail[0]) / np.linalg.norm(rail[1] - rail[0])
    assert abs((ends[1] - ends[0]) @ along) < 1e-9  # square to the rail, so nearest
    assert 0.0 < (ends[1] - rail[0]) @ along < np.linalg.norm(rail[1] - rail[0])
