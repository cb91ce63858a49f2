"""Files of keys: the standard one reads back the same, a wrong one says where and what."""

import pytest

from armcarry.errors import InputError
from armcarry.handfly.control import Pilot
from armcarry.handfly.hands import Hands
from armcarry.handfly.keys import BUTTONS, STICKS, WINDOW, read_keys, write_keys


def test_the_written_file_means_the_standard_keys(tmp_path):
    write_keys(tmp_path / "keys.yaml")
    assert read_keys(tmp_path / "keys.yaml") == read_keys(None)
    keys = read_keys(None)
    assert {stick for stick, _ in keys.sticks.values()} == set(range(len(STICKS)))
    assert set(keys.buttons.values()) == {*BUTTONS, *WINDOW}
    assert ("W", "forward") in keys.shown()


def test_a_file_that_changes_one_key_leaves_the_others(tmp_path):
    path = tmp_path / "keys.yaml"
    path.write_text("format: armcarry keys 1\nsticks: {x: [Up, Down]}\n", encoding="utf-8")
    keys = read_keys(path)
    assert keys.sticks["Up"] == (0, 1)
    assert "W" not in keys.sticks
    assert keys.sticks["A"] == (1, 1)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("format: other\n", "another format"),
        ("format: armcarry keys 1\nstick: {}\n", "no part named 'stick'"),
        ("format: armcarry keys 1\nsticks: {w: [A, B]}\n", "no stick named 'w'"),
        ("format: armcarry keys 1\nsticks: {x: [Up]}\n", "stick 'x' needs two keys, for plus and minus"),
        ("format: armcarry keys 1\nsticks: {x: [A, B]}\n", "key A is taken by 'x plus'"),
        ("format: armcarry keys 1\nbuttons: {stop: Z}\n", "no button named 'stop'"),
        ("format: armcarry keys 1\nbuttons: {brake: Ctrl}\n", "button 'brake' needs a key"),
        ("format: armcarry keys 1\nbuttons: {brake: W}\n", "key W is taken by 'x plus'"),
        ("format: armcarry keys 1\nsticks: 5\n", "'sticks' is no mapping"),
        ("format: armcarry keys 1\ncontroller: {axes: {x: left}}\n", "axis 'x: left'"),
        ("format: armcarry keys 1\ncontroller: {buttons: {brake: a}}\n", "controller button 'brake: a'"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(tmp_path, text, said):
    path = tmp_path / "keys.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=said) as caught:
        read_keys(path)
    assert "keys.yaml" in str(caught.value)


def test_hands_hold_sticks_and_let_go_of_the_brake_once_the_arm_rests(course):
    pilot = Pilot(course.record.scene, course)
    hands = Hands(7)
    hands.hold("W", 0, 1)
    hands.hold("mouse", 0, 0.5)
    assert hands.command(pilot).push == (1.0, 0.0, 0.0)
    hands.release("W")
    assert hands.command(pilot).push == (0.5, 0.0, 0.0)
    hands.next_mode()
    hands.next_joint()
    assert (hands.command(pilot).mode, hands.command(pilot).joint, hands.command(pilot).share) == ("joint", 1, 0.5)
    hands.let_go()
    hands.brake()
    assert hands.command(pilot).brake
    pilot.asked, pilot.tick = 3, 9
    assert not hands.command(pilot).brake
