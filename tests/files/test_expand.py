"""What is meant becomes moves of the arm: which, in which order, and known by the line that meant them."""

import json
import re
import shutil

import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.errors import InputError
from armcarry.files.expand_text import expanded_text
from armcarry.files.load import load_scenario
from armcarry.files.places import models_folder, scenarios_folder

SHORT = (scenarios_folder() / "pump_box_to_bay_7.yaml").read_text()
#: the demo carry until it fetches the box, its arm starting from joints alone
HEAD = re.sub(r"start: \{at: rack_a, joints: (\{[^}]*\})\}", r"start: \1", SHORT[: SHORT.index("      - {name: take")])


@pytest.fixture
def told(tmp_path):
    """Return a function that loads the short carry with other moves: text of list items."""

    def load(*moves, old="", new=""):
        path = tmp_path / "short.yaml"
        head = HEAD.replace(old, new) if old else HEAD
        path.write_text(head + "".join(f"      - {move}\n" for move in moves))
        return load_scenario(path)

    return load


def _kinds(loaded):
    return [move.kind for carry in loaded.scenario.carries for move in carry.moves]


def _ends(loaded):
    """Return frame and x of where every move of the arm leads."""
    found = []
    for move in (move for carry in loaded.scenario.carries for move in carry.moves):
        if move.line is not None:
            found.append((move.line.frame.removeprefix("platform/"), move.line.to[0]))
        elif move.to_pose is not None:
            found.append((move.to_pose.frame.removeprefix("platform/"), move.to_pose.position[0]))
    return found


def test_an_item_is_brought_by_way_in_hands_and_way_out(told):
    loaded = told("bring: {what: pump_box, to: bay_7}")
    assert _kinds(loaded) == [
        "hold",
        "to_pose", "line", "hold", "attach", "line",
        "to_pose", "line", "hold", "detach", "hold", "line",
    ]  # fmt: skip
    rack, bay = "rack_a_stand", "bay_7_stand"
    assert _ends(loaded) == [(rack, -0.9), (rack, -0.005), (rack, -0.9), (bay, -0.9), (bay, -0.005), (bay, -0.9)]
    moves = loaded.scenario.carries[0].moves
    assert [move.hold for move in moves if move.hold is not None] == [60.0, 330.0, 20.0, 420.0]
    attach, detach = moves[4].attach, moves[9].detach
    assert (attach.what, attach.to, attach.seat) == ("pump_box", "ev1/hands", True)
    assert (detach.what, detach.to, detach.seat) == ("pump_box", "platform/bay_7_seat", True)
    assert [move.rate for move in moves] == [1.0] * 5 + [0.5] + [1.0] + [0.5] + [1.0] * 4


def test_fetch_and_place_are_a_bring_and_times_may_be_said(told):
    apart = told("fetch: {what: pump_box}", "place: {what: pump_box, at: bay_7}")
    whole = told("bring: {what: pump_box, to: bay_7}")
    moves = [[move.model_copy(update={"name": None}) for move in one.scenario.carries[0].moves]
             for one in (apart, whole)]
    assert moves[0] == moves[1]
    said = told("fetch: {what: pump_box, takes: 10 s}", "place: {what: pump_box, at: bay_7, takes: 11 s}")
    assert [move.hold for move in said.scenario.carries[0].moves if move.hold is not None] == [60.0, 10.0, 20.0, 11.0]


def test_a_ride_backs_off_first_and_is_nothing_where_it_has_come_to_already(told):
    there = told("ride: {to: bay_3}")
    assert _ends(there) == [("bay_3_stand", -1.6), ("bay_3_stand", 0.0)]
    on = told("ride: {to: bay_3}", "ride: {to: bay_3}", "ride: {to: bay_5, straight: true}")
    assert _ends(on)[2:] == [("bay_3_stand", -1.6), ("bay_5_stand", -1.6), ("bay_5_stand", 0.0)]
    assert [move.kind for move in on.scenario.carries[0].moves][-2:] == ["line", "line"]
    # after a move of the arm that says otherwise nobody knows where it is, so nothing is backed off from
    away = told("ride: {to: bay_3}", "one_joint: {wrist_turn: 90 deg}", "ride: {to: bay_5}")
    assert _ends(away) == [*_ends(there), ("bay_5_stand", -1.6), ("bay_5_stand", 0.0)]


def test_a_loaded_way_in_is_the_worksites_own(told):
    camera = "\n  camera: {model: survey_camera, at: platform/mast_top_seat}\n  rail_cart_1:"
    loaded = told("bring: {what: camera, to: bay_3}", old="\n  rail_cart_1:", new=camera)
    lines = [move.line.to for move in loaded.scenario.carries[0].moves if move.line is not None]
    assert lines[1:3] == [(0.0, 0.0, 0.9), (-1.6, 0.0, 0.9)]
    assert lines[3:5] == [(0.0, 0.0, 0.6), (0.0, 0.0, 0.005)]


def test_an_item_whose_model_is_a_file_fits_the_seat_by_the_files_name(told, tmp_path):
    shutil.copytree(models_folder() / "hardware" / "pump_box", tmp_path / "own")
    own = told("bring: {what: pump_box, to: bay_7}", old="model: pump_box", new="model: own/pump_box.yaml")
    assert own.scenario.carries == told("bring: {what: pump_box, to: bay_7}").scenario.carries


def test_name_caption_and_pin_go_to_the_moves(told):
    loaded = told('{ride: {to: bay_3}, name: over, say: "Now over.", pin: {shoulder_turn: 20 deg}}')
    first, second = loaded.scenario.carries[0].moves[1:]
    assert (first.name, second.name, first.say) == ("over_1", "over_2", "Now over.")
    assert first.pin == pytest.approx({"shoulder_turn": 0.3490658503988659})
    assert second.pin == {}
    unnamed = told("ride: {to: bay_3}", "bring: {what: pump_box, to: bay_7}").scenario.carries[0].moves
    assert [move.name for move in unnamed[1:4]] == ["ride_bay_3_2", "ride_bay_3_3", "bring_pump_box_4"]


@pytest.mark.parametrize(
    ("move", "words"),
    [
        ("bring: {what: pump_box, to: bay_9}", ["no worksite named 'bay_9'", "accepted: bay_7"]),
        ("bring: {what: pump_box, to: bay_3}", ["'bay_3' has no seat that takes 'pump_box'", "rack_a, bay_7, bay_10"]),
        ("bring: {what: pump_bix, to: bay_7}", ["no hardware named 'pump_bix'", "pump_box"]),
        ("fetch: {what: rail_cart_1}", ["no worksite says seat: cart_1_seat"]),
        ("fetch: {what: pump_box, by: ev2}", ["'ev2' does not ride the arm", "ev1"]),
        ("ride: {to: nowhere}", ["no worksite named 'nowhere'"]),
        ("{ride: {to: bay_3}, rate: 0.5}", ["rate does not go with ride", "name, say, note, caution, see, if_not"]),
        ("{ride: {to: bay_3}, hold: 3 s}", ["a move needs exactly one of"]),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_told_with_file_and_line(told, move, words):
    with pytest.raises(InputError) as caught:
        told(move)
    line = HEAD.count("\n") + 1
    assert f"short.yaml:{line}:" in str(caught.value)
    for word in words:
        assert word in str(caught.value)


def test_an_item_fetched_twice_is_in_no_seat_the_second_time(told):
    with pytest.raises(InputError, match="'pump_box' is in no seat by then; it starts at platform/rack_a_seat"):
        told("fetch: {what: pump_box}", "fetch: {what: pump_box}")


def test_nobody_aboard_can_fetch_nothing(told):
    with pytest.raises(InputError, match="nobody rides the arm"):
        told("fetch: {what: pump_box}", old="at: arm}}", new="at: platform/bay_3_stand}}")


def test_a_problem_of_a_move_that_followed_names_the_line_that_meant_it(told):
    line = HEAD.count("\n") + 2
    with pytest.raises(InputError) as caught:
        told("ride: {to: bay_3}", "hold: 3 s", old="arm: heron\n", new="arm: heron\nsafe_point: bay_33\n")
    assert "bay_33" in str(caught.value)
    with pytest.raises(InputError) as caught:
        told("ride: {to: bay_3}", "one_joint: {wrist_trun: 3 deg}")
    assert f"short.yaml:{line}:" in str(caught.value)


def test_an_arm_that_starts_before_a_worksite_goes_straight_in_and_waits_before_a_seat_where_asked(told):
    said = re.search(r"start: .*\n.*\n", SHORT).group()
    own = re.search(r"start: .*\n.*\n", HEAD).group()
    loaded = told("fetch: {what: pump_box}", "place: {what: pump_box, at: bay_7, straight: true, waits: 45 s}",
                  old=own, new=said)  # fmt: skip
    assert loaded.beside.open.start is None and loaded.scenario.start_joints["shoulder_turn"] != 0.0
    assert _kinds(loaded) == [
        "hold", "line", "hold", "attach", "line", "line", "hold", "line", "hold", "detach", "hold", "line",
    ]  # fmt: skip
    assert [move.hold for move in loaded.scenario.carries[0].moves if move.hold] == [60.0, 330.0, 45.0, 20.0, 420.0]
    with pytest.raises(InputError, match=r"yaml:19: no joint of the arm named 'shoulder_trun'"):
        told(old=own, new=said.replace("shoulder_turn", "shoulder_trun"))


def test_the_long_form_reads_as_the_same_scenario_and_says_what_it_came_from(told, tmp_path):
    loaded = told("bring: {what: pump_box, to: bay_7}", "ride: {to: bay_3}")
    text = expanded_text(loaded)
    line = HEAD.count("\n") + 1
    assert f"# short.yaml:{line} (bring: {{what: pump_box, to: bay_7}})\n" in text
    assert f"# short.yaml:{line + 1} (ride: {{to: bay_3}})\n" in text
    assert "bring:" not in text.replace("(bring:", "")
    (tmp_path / "long.yaml").write_text(text)
    assert load_scenario(tmp_path / "long.yaml").scenario == loaded.scenario


def test_a_script_without_intents_is_left_as_it_is():
    beside = load_scenario(scenarios_folder() / "unreachable_worksite.yaml").beside
    assert beside.long.source is beside.written
    assert not beside.open.anything


def test_the_command_prints_or_writes_the_long_form(tmp_path):
    printed = CliRunner().invoke(app, ["expand", "pump_box_to_bay_7"])
    assert printed.exit_code == 0
    line = SHORT[: SHORT.index("- {name: take")].count("\n") + 1
    assert f"# pump_box_to_bay_7.yaml:{line} (fetch: {{what: pump_box}})" in printed.output
    out = tmp_path / "long.yaml"
    told = CliRunner().invoke(app, ["expand", "pump_box_to_bay_7", "--out", str(out), "--json"])
    assert json.loads(told.output) == {"scenario": out.read_text(), "written": str(out)}
    assert out.read_text() == printed.output


def test_a_platform_without_mounts_and_a_way_of_one_point_are_told_or_taken(told, tmp_path):
    shutil.copytree(models_folder() / "platforms" / "tern_yard", tmp_path / "models" / "platforms" / "own")
    own = tmp_path / "models" / "platforms" / "own" / "own.yaml"
    (tmp_path / "models" / "platforms" / "own" / "tern_yard.yaml").rename(own)
    loaded = 'way_in_loaded: [["-0.9 m", "0 m", "0 m"], ["-0.005 m", "0 m", "0 m"]]'
    own.write_text(own.read_text().replace(loaded, 'way_in_loaded: [["-0.005 m", "0 m", "0 m"]]'))
    kinds = _kinds(told("bring: {what: pump_box, to: bay_7}", old="platform: tern_yard", new="platform: own"))
    assert kinds.count("to_pose") == 2
    text = own.read_text()
    start, end = text.index("mounts:"), text.index("carts:")
    own.write_text(text[:start] + "mounts: {}\n" + text[end:])
    path = tmp_path / "short.yaml"
    path.write_text(path.read_text().replace("base: {mount: trolley, station: 11 m}\n", ""))
    with pytest.raises(InputError, match="no mount named 'any'; accepted: none, there is no mount"):
        load_scenario(path)
