"""Which key, or which part of a game controller, is which stick or button; kept in a YAML file that people edit."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armcarry.errors import InputError
from armcarry.files.atomic import write_bytes_atomic
from armcarry.files.names import accepted
from armcarry.files.validate import raise_all
from armcarry.files.yaml_text import YamlText, read_yaml
from armcarry.files.yaml_write import yaml_document

FORMAT = "armcarry keys 1"
#: along x, y, z of the chosen frame, and about them (right hand)
STICKS = ("x", "y", "z", "turn_x", "turn_y", "turn_z")
#: what acts on the flight
BUTTONS = {
    "brake": "brake: stop the arm with its brakes",
    "mode": "next mode: tip, single joint, follow the script (hold forward to go on)",
    "frame": "next frame of the sticks: platform, tip, rider, camera",
    "joint": "next joint of the single-joint mode (forward and back turn it)",
    "fine": "fine or coarse",
    "act": "do the script's next act: take, leave, turn",
    "runaway": "practise: a joint runs away",
    "camera": "practise: a camera goes dark",
    "late": "practise: the brakes come late",
}
#: what the window does itself
WINDOW = {
    "help": "show or hide the keys", "mute": "sound on or off", "pause": "let time stand still or run",
    "view": "look from the next place", "keep": "write the try as a run with every check",
}  # fmt: skip
#: key of each stick, plus and minus, and of each button
STICK_KEYS = {
    "x": ("W", "S"), "y": ("A", "D"), "z": ("R", "F"), "turn_x": ("L", "J"), "turn_y": ("I", "K"), "turn_z": ("Q", "E"),
}  # fmt: skip
BUTTON_KEYS = {
    "brake": "Space", "mode": "M", "frame": "T", "joint": "N", "fine": "X", "act": "Return", "runaway": "1",
    "camera": "2", "late": "3", "help": "H", "mute": "V", "pause": "P", "view": "G", "keep": "O",
}  # fmt: skip
#: axis number of a controller, with - where it counts the other way, and its buttons
AXES = {"x": "-1", "y": "-0", "z": "-3", "turn_z": "-2"}
PRESSES = {"brake": "0", "fine": "1", "frame": "2", "mode": "3", "act": "4", "view": "5"}
_NAMED = ("Space", "Return", "Tab", "Left", "Right", "Up", "Down", "Home", "End", "PageUp", "PageDown", "Backspace")
_WORDS = {
    "x": ("forward", "back"), "y": ("left", "right"), "z": ("up", "down"), "turn_x": ("roll right", "roll left"),
    "turn_y": ("pitch down", "pitch up"), "turn_z": ("turn left", "turn right"),
}  # fmt: skip


@dataclass(frozen=True)
class Keys:
    """A mapping.

    Attributes:
        sticks: key -> stick number and 1 or -1.
        buttons: key -> button of the flight or of the window.
        axes: axis of a controller -> stick number and 1 or -1.
        presses: button of a controller -> button.
    """

    sticks: dict[str, tuple[int, int]]
    buttons: dict[str, str]
    axes: dict[int, tuple[int, int]]
    presses: dict[int, str]

    def shown(self) -> list[tuple[str, str]]:
        """Return key and meaning of everything, for people."""
        rows = [(key, _WORDS[STICKS[k]][sign < 0]) for key, (k, sign) in self.sticks.items()]
        return rows + [(key, {**BUTTONS, **WINDOW}[button]) for key, button in self.buttons.items()]


def standard() -> dict[str, Any]:
    """Return the mapping that holds without a file, as the file holds it."""
    return {
        "format": FORMAT, "sticks": {stick: list(pair) for stick, pair in STICK_KEYS.items()},
        "buttons": dict(BUTTON_KEYS), "controller": {"axes": dict(AXES), "buttons": dict(PRESSES)},
    }  # fmt: skip


def write_keys(path: Path) -> None:
    """Write the standard mapping to edit. Raises RecordError when it cannot be written."""
    write_bytes_atomic(path, yaml_document(standard()).encode())


def read_keys(path: Path | None) -> Keys:
    """Read a mapping; the standard one without a file. What a file leaves out stays as it is in the standard one.

    Raises:
        InputErrors, InputError: it holds what it must not; the message names file and line.
    """
    if path is None:
        return _keys(None, standard())
    text = read_yaml(path)
    if text.data.get("format") != FORMAT:
        raise InputError("another format", file=path, line=text.line(("format",)), found=text.data.get("format"),
                         accepted=f"format: {FORMAT}")  # fmt: skip
    return _keys(text, text.data)


class _Reader:
    """Reads the parts of a mapping and collects what is wrong with them."""

    def __init__(self, text: YamlText | None, data: dict[str, Any]) -> None:
        self.text, self.data = text, data
        self.problems: list[InputError] = []
        self.taken: dict[str, str] = {}
        self.known: dict[str, str] = {**BUTTONS, **WINDOW}

    def bad(self, where: tuple[str | int, ...], problem: str, hint: str) -> None:
        """Note a problem at a place of the file."""
        file, line = (None, None) if self.text is None else (self.text.path, self.text.line(where))
        self.problems.append(InputError(problem, file=file, line=line, accepted=hint))

    def part(self, *names: str) -> dict[str, Any]:
        """Return a mapping of the file, empty where it is left out."""
        value: Any = self.data
        for name in names:
            value = value.get(name, {}) if isinstance(value, dict) else {}
        if not isinstance(value, dict):
            self.bad(names, f"'{names[-1]}' is no mapping", "name: key")
            return {}
        return value

    def take(self, where: tuple[str | int, ...], key: str, name: str) -> bool:
        """Note who has a key; false when another has it."""
        if self.taken.setdefault(key, name) == name:
            return True
        self.bad(where, f"key {key} is taken by '{self.taken[key]}'", "another key")
        return False

    def sticks(self) -> dict[str, tuple[int, int]]:
        """Return key -> stick and sign."""
        found: dict[str, tuple[int, int]] = {}
        for stick, pair in {**{k: list(v) for k, v in STICK_KEYS.items()}, **self.part("sticks")}.items():
            where = ("sticks", stick)
            if stick not in STICKS:
                self.bad(where, f"no stick named '{stick}'", accepted(stick, STICKS, "stick"))
            elif not isinstance(pair, list) or len(pair) != 2 or not all(map(_is_key, pair)):
                self.bad(where, f"stick '{stick}' needs two keys, for plus and minus", "such as [W, S]")
            else:
                for key, sign in zip(map(str, pair), (1, -1), strict=True):
                    if self.take(where, key, f"{stick} {'plus' if sign > 0 else 'minus'}"):
                        found[key] = (STICKS.index(stick), sign)
        return found

    def buttons(self) -> dict[str, str]:
        """Return key -> button."""
        found: dict[str, str] = {}
        for button, key in {**BUTTON_KEYS, **self.part("buttons")}.items():
            where = ("buttons", button)
            if button not in self.known:
                self.bad(where, f"no button named '{button}'", accepted(button, self.known, "button"))
            elif not _is_key(key):
                self.bad(where, f"button '{button}' needs a key", f"a letter, a digit, {', '.join(_NAMED)}")
            elif self.take(where, str(key), button):
                found[str(key)] = button
        return found

    def controller(self) -> tuple[dict[int, tuple[int, int]], dict[int, str]]:
        """Return axis -> stick and sign, and button number -> button."""
        axes: dict[int, tuple[int, int]] = {}
        presses: dict[int, str] = {}
        for stick, axis in (self.part("controller", "axes") or AXES).items():
            if stick not in STICKS or not str(axis).removeprefix("-").isdecimal():
                where = ("controller", "axes", stick)
                self.bad(where, f"axis '{stick}: {axis}'", "a stick and the number of an axis, such as -1")
            else:
                axes[abs(int(axis))] = (STICKS.index(stick), -1 if str(axis).startswith("-") else 1)
        for button, number in (self.part("controller", "buttons") or PRESSES).items():
            if button not in self.known or not str(number).isdecimal():
                where = ("controller", "buttons", button)
                self.bad(where, f"controller button '{button}: {number}'", "a button and its number")
            else:
                presses[int(number)] = button
        return axes, presses


def _keys(text: YamlText | None, data: dict[str, Any]) -> Keys:
    reader = _Reader(text, data)
    for name in data:
        if name not in ("format", "sticks", "buttons", "controller"):
            reader.bad((name,), f"no part named '{name}'", "format, sticks, buttons, controller")
    keys = Keys(reader.sticks(), reader.buttons(), *reader.controller())
    raise_all(reader.problems)
    return keys


def _is_key(value: object) -> bool:
    """Tell whether a value names a key: one letter or digit, or a name."""
    text = str(value) if isinstance(value, str | int) and not isinstance(value, bool) else ""
    return text in _NAMED or (len(text) == 1 and text.isprintable() and text == text.upper())
