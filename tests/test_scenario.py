"""Scenarios made in Python: the same as from a file, of plain values, typed parts, quantities of pint and poses."""

import numpy as np
import pytest
from spatialmath import SE3

import armcarry
from armcarry import Scenario, parts
from armcarry.errors import InputError
from armcarry.files.places import known_scenarios

HEAD = {"title": "Swing", "purpose": "Out and back", "platform": "tern_yard", "arm": "heron", "rules": "tern_yard",
        "base": {"mount": "trolley", "station": "11 m"}}  # fmt: skip


def _swing(**keys):
    carries = [{"name": "swing", "moves": [{"hold": "2 s"}, {"one_joint": {"shoulder_turn": "3 deg"}, "name": "out"}]}]
    return Scenario(**{**HEAD, "carries": carries, **keys})


@pytest.mark.parametrize("name", sorted(known_scenarios()))
def test_every_scenario_that_comes_along_is_the_same_written_and_read_again(name, tmp_path):
    first = Scenario.load(name)
    again = Scenario.load(first.save(tmp_path / "again.yaml"))
    assert again == first
    assert Scenario(first.document) == first  # typed parts say what was written
    assert hash(again) == hash(first)


def test_typed_parts_plain_values_and_quantities_say_the_same():
    pint = pytest.importorskip("pint")
    unit = pint.UnitRegistry()
    typed = parts.Carry(name="swing", moves=[
        parts.Move(hold=2 * unit.second), parts.Move(one_joint={"shoulder_turn": 3 * unit.degree}, name="out"),
    ])  # fmt: skip
    mixed = [{"name": "swing", "moves": [{"hold": np.float64(2.0) * unit.second},
                                         parts.Move(one_joint={"shoulder_turn": "3 deg"}, name="out")]}]  # fmt: skip
    assert _swing(carries=[typed]) == _swing() == _swing(carries=mixed)
    assert _swing(base=parts.Base(mount="trolley", station="11 m")) == _swing()


def test_a_pose_is_a_position_and_a_rotation():
    pose = SE3(1.0, -2.0, 0.5) @ SE3.Rz(30, "deg")
    frame = {"frame": "platform/bay_7_stand"}
    moves = [{"to_pose": {**frame, "pose": pose}}, {"line": {**frame, "pose": pose.A}}]
    goal, line = _swing(carries=[{"name": "there", "moves": moves}]).document.carries[0].moves
    assert goal.to_pose.position == pytest.approx((1.0, -2.0, 0.5))
    assert goal.to_pose.rotation == pytest.approx((0.0, 0.0, np.pi / 6))
    assert (line.line.to, line.line.rotation) == (goal.to_pose.position, goal.to_pose.rotation)
    with pytest.raises(InputError, match=r"not a pose; found 'an array \(3, 3\)'; accepted: a spatialmath"):
        _swing(carries=[{"name": "there", "moves": [{"to_pose": {**frame, "pose": np.eye(3)}}]}])


def test_what_is_not_accepted_is_told_by_key():
    with pytest.raises(InputError, match="unknown key 'carrys'; accepted: carries"):
        _swing(carrys=[])
    with pytest.raises(InputError, match="not a value of a scenario; found 'object'; accepted: text, a number"):
        _swing(notes=object())


def test_keys_are_changed_by_their_path_and_what_was_stays():
    first = _swing()
    other = first.changed({"carries.swing.moves[1].one_joint.shoulder_turn": "5 deg", "base.station": "10 m"})
    assert other.at("carries.0.moves.out.one_joint.shoulder_turn") == "5 deg"
    assert first.at("base.station") == "11 m" and other.at("base.station") == "10 m"
    for path, words in (
        ("carries.1", "nothing stands at '1' of carries.1; accepted: 0 to 0, or the name of an item"),
        ("carrys.0", "nothing stands at 'carrys' of carrys.0; accepted: carries (nearest)"),
        ("title.x", "nothing stands at 'x' of title.x; accepted: a shorter path: this is a plain value"),
        ("", "no key; found ''; accepted: a path such as carries.0.moves.2.line.to[0]"),
    ):
        with pytest.raises(InputError) as caught:
            first.at(path)
        assert str(caught.value).startswith(words)


def test_a_scenario_is_rehearsed_and_swept_without_a_file(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    record = _swing().rehearse()
    findings = armcarry.judge(record)
    assert list(tmp_path.iterdir()) == []
    assert repr(record).startswith("Record('Swing', 0:0") and "\n" not in repr(record)
    assert repr(findings).startswith("Findings(") and len(repr(findings)) < 80
    assert "passed" in findings._repr_html_() and "<svg" in record._repr_html_()
    armcarry.save(record, findings, tmp_path / "run")
    assert repr(armcarry.load(tmp_path / "run")[0]) == repr(record)
    rows = armcarry.sweep(_swing(), {"carries.0.moves.1.one_joint.shoulder_turn": ["3 deg", "400 deg"]}, workers=1)
    assert [row["carries.0.moves.1.one_joint.shoulder_turn"] for row in rows] == ["3 deg", "400 deg"]
    assert rows[0]["duration_s"] == pytest.approx(record.duration_s) and rows[0]["error"] == ""
    assert "outside the travel of joint 'shoulder_turn'" in rows[1]["error"] and rows[1]["verdict"] == "not_assessed"


def test_a_sweep_asks_for_keys_and_values_that_are_there():
    with pytest.raises(InputError, match=r"nothing stands at 'statoin' of base\.statoin; accepted: station"):
        armcarry.sweep(_swing(), {"base.statoin": ["3 m"]})
    with pytest.raises(InputError, match=r"no values for base\.station"):
        armcarry.sweep(_swing(), {"base.station": []})
