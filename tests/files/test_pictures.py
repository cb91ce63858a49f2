"""Pictures a scenario asks for, and own words of moves and steps: read, resolved, refused with file and line."""

import pytest

from armcarry.errors import InputError
from armcarry.files.documents.steps import Step
from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder

CARRY = scenarios_folder() / "pump_box_to_bay_7.yaml"


@pytest.fixture
def asked(tmp_path):
    def load(pictures):
        path = tmp_path / "asked.yaml"
        text = CARRY.read_text()
        path.write_text(f"{text[: text.index('pictures:')]}pictures:\n{pictures}\n{text[text.index('expect:') :]}")
        return load_scenario(path).scenario.pictures

    return load


def test_a_picture_names_things_and_bodies_a_camera_and_a_step(asked):
    (one,) = asked("  - {name: box, highlight: [pump_box, rack_a_seat, rack_a, platform/rack_a_*], seen_from: ev1, "
                   "step: take_4, when: end}")
    assert (one.name, one.seen_from, one.step, one.when, one.around) == ("box", "ev1", "take_4", "end", False)


@pytest.mark.parametrize(
    ("pictures", "problem", "accepted"),
    [
        ("  - {name: a, highlight: [pump_bax]}", "nothing in this scenario fits 'pump_bax'", "pump_box (nearest)"),
        ("  - {name: a, highlight: [pump_box], seen_from: nobody}", "no camera named 'nobody'", "ev1"),
        ("  - {name: a, highlight: [pump_box], step: nowhere}", "no step or named move named 'nowhere'", "put_in_1"),
        ("  - {name: a, highlight: [ev1]}\n  - {name: a, highlight: [ev1]}", "two pictures are named 'a'", "once"),
        ("  - {name: a, highlight: []}", "at least 1", ""),
    ],
)
def test_a_picture_of_what_is_not_there_is_refused(asked, pictures, problem, accepted):
    with pytest.raises(InputError) as told:
        asked(pictures)
    assert problem in str(told.value) and accepted in str(told.value) and "asked.yaml:" in str(told.value)


def test_a_note_beside_another_kind_is_a_remark():
    step = {"name": "a", "actors": ["ev1"], "takes": "1 min"}
    assert Step(**step, note="look").kind == "note"
    both = Step(**step, note="look", inspect="the seals")
    assert (both.kind, both.note) == ("inspect", "look")
    with pytest.raises(ValueError, match="found take, inspect"):
        Step(**step, note="look", inspect="the seals", take={"what": "box"})


def test_own_words_of_an_intent_go_to_its_first_move():
    moves = [move for carry in load_scenario(CARRY).scenario.carries for move in carry.moves]
    said = {move.name: move.caution for move in moves if move.caution}
    assert said == {"take_1": "Hook the box's tether before the last bolt."}
