"""From a scenario with its models alone to moves that are written out and changed."""

from pathlib import Path

import pytest

from armcarry.editing import Session
from armcarry.errors import InputError
from armcarry.files.starts import write_bare

CARRY = Path(__file__).parents[2] / "scenarios" / "pump_box_to_bay_7.yaml"


@pytest.fixture
def bare(tmp_path):
    """The demo carry without carries, people, restraint and the box."""
    kept = [line for line in CARRY.read_text(encoding="utf-8").split("carries:\n", 1)[0].splitlines()
            if not line.startswith(("restraint:", "crew:", "  pump_box:"))]  # fmt: skip
    path = tmp_path / "bare.yaml"
    path.write_text("\n".join(kept) + "\n", encoding="utf-8")
    return path


def placed(path):
    session = Session(path)
    assert session.moves == ()
    session.restraint("foot_restraint", settings={"pitch": 1.5707963267948966})
    session.person("ev1", "suited", "medium", "carry", "arm")
    session.item("pump_box", "pump_box", "platform/rack_a_seat")
    return session


def test_what_stands_where_is_put_there_and_an_intent_is_written_out(bare):
    session = placed(bare)
    data = session.script.data
    assert data["restraint"] == {"model": "foot_restraint", "at": "arm", "settings": {"pitch": "90 deg"}}
    assert data["hardware"]["rail_cart_1"], "what was there stays"
    session.item("pump_box", "pump_box", "platform/bay_7_seat")
    session.undo()
    moves = [{"hold": "5 s"}, {"fetch": {"what": "pump_box"}, "name": "take"}]
    session.set("carries", [{"name": "out", "moves": moves}])
    before = session.answer
    assert len(session.flown((0, 1))) > 3
    with pytest.raises(InputError, match="'move 1' is no intent; found 'hold'; accepted: ride, fetch, place, bring"):
        session.write_out((0, 0))
    after = session.write_out((0, 1))
    assert after.duration_s == pytest.approx(before.duration_s, abs=1e-3)
    assert [one.written for one in after.moves] == [(0, k) for k in range(len(after.moves))]
    session.save()
    assert Session(bare).answer.duration_s == pytest.approx(after.duration_s, abs=1e-6)
    with pytest.raises(InputError, match="pump_bix"):
        session.bring("pump_bix", "bay_7")
    assert session.script.changes[-1].title.endswith("moves"), "nothing was changed"


def test_what_is_brought_ends_the_last_carry_or_begins_one(session):
    data = session.script.tried(session.brought("pump_box", "bay_7", "ev1"))
    bring = {"bring": {"what": "pump_box", "to": "bay_7", "by": "ev1"}}
    assert [len(carry["moves"]) for carry in data["carries"]] == [8]
    assert data["carries"][0]["moves"][7] == bring
    session.script.data["carries"].append({"name": "back", "reverse_of": "x"})
    try:
        data = session.script.tried(session.brought("pump_box", "bay_7"))
    finally:
        session.script.data["carries"].pop()
    assert [carry["name"] for carry in data["carries"][1:]] == ["back", "pump_box_to_bay_7"]


def test_where_nothing_is_flown_yet_the_place_of_the_base_is_left_to_be_found(bare):
    session = Session(bare)
    assert session.script.data["base"]["station"]
    data = session.script.tried(session.brought("rail_cart_1", "rail_bow", "ev1"))
    assert "station" not in data["base"]
    assert data["carries"][0]["name"] == "rail_cart_1_to_rail_bow"


@pytest.mark.long
def test_a_carry_is_begun_from_nothing_by_saying_what_is_brought_where(tmp_path):
    path = tmp_path / "mine.yaml"
    write_bare(path, {})
    session = Session(path)
    session.restraint("foot_restraint")
    session.person("ev1", "suited", "medium", "carry", "arm")
    session.item("pump_box", "pump_box", "platform/rack_a_seat")
    answer = session.bring("pump_box", "bay_7")
    assert session.script.data["carries"][0]["name"] == "pump_box_to_bay_7"
    assert not answer.failing
    written = session.write_out((0, 0))
    assert written.duration_s == pytest.approx(answer.duration_s, abs=1e-3)
    assert session.script.data["base"]["station"], "what was found for the intent stands in the script now"
    assert session.script.data["restraint"]["settings"]
    assert len(session.moves) > 8
    session.shift(next(at for at in session.moves if session.kind(at) == "line"), (0.0, 0.01, 0.0))
