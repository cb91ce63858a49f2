"""Text with units to SI floats and back, only at the edges of the program.

Inside armcarry everything is SI with angles in radians. Files carry a unit in
every quantity ("0.6 m", "2 ft", "15 deg"); a bare number is refused.
"""

from __future__ import annotations

import math
import re
from typing import Any

from armcarry.errors import QuantityError

_DEG, _FT, _IN, _LB = 0.017453292519943295, 0.3048, 0.0254, 0.45359237
_LBF = _LB * 9.80665

#: kind -> unit -> its size in SI. Only these are read: nothing in a file is computed
UNITS: dict[str, dict[str, float]] = {
    "length": {"m": 1.0, "mm": 1e-3, "cm": 1e-2, "km": 1e3, "ft": _FT, "in": _IN},
    "angle": {"deg": _DEG, "rad": 1.0},
    "time": {"s": 1.0, "min": 60.0, "h": 3600.0, "ms": 1e-3},
    "mass": {"kg": 1.0, "g": 1e-3, "lb": _LB},
    "speed": {"m/s": 1.0, "mm/s": 1e-3, "cm/s": 1e-2, "ft/s": _FT, "ft/min": _FT / 60.0, "in/s": _IN},
    "angular_speed": {"deg/s": _DEG, "rad/s": 1.0, "deg/min": _DEG / 60.0},
    "acceleration": {"m/s^2": 1.0, "mm/s^2": 1e-3, "cm/s^2": 1e-2, "ft/s^2": _FT},
    "angular_acceleration": {"deg/s^2": _DEG, "rad/s^2": 1.0},
    "force": {"N": 1.0, "kN": 1e3, "lbf": _LBF},
    "torque": {"N*m": 1.0, "ft*lbf": _FT * _LBF},
    "fraction": {"%": 0.01, "": 1.0},
}

#: kind -> the most that any quantity of it may be, in SI: far beyond any use, and what is computed of it stays finite
LARGEST: dict[str, float] = {
    "length": 1e8, "angle": 1e6, "time": 1e7, "mass": 1e9, "speed": 1e6, "angular_speed": 1e6, "acceleration": 1e6,
    "angular_acceleration": 1e6, "force": 1e9, "torque": 1e9, "fraction": 1e6,
}  # fmt: skip

_SI = {
    "length": "m", "angle": "rad", "time": "s", "mass": "kg", "speed": "m/s", "angular_speed": "rad/s",
    "acceleration": "m/s^2", "angular_acceleration": "rad/s^2", "force": "N", "torque": "N*m", "fraction": "",
}  # fmt: skip
_SHARE = "% or a plain number between 0 and 1"
#: kind -> (SI unit, every unit accepted in a file)
KINDS: dict[str, tuple[str, str]] = {
    kind: (_SI[kind], _SHARE if kind == "fraction" else ", ".join(units)) for kind, units in UNITS.items()
}

#: characters of a quantity at most; its pattern takes long over many blanks
LONGEST = 80

# [0-9] and not \d, which takes the digits of every script: a schema's patterns take these alone
_UNSIGNED = r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_TIME_OF_DAY = r"[0-9]+:[0-5][0-9](?::[0-5][0-9](?:\.[0-9]+)?)?"
_NUMBER = re.compile(rf"\s*([+-]?{_UNSIGNED})\s*(\S.*?)?\s*")
_CLOCK = re.compile(rf"\s*([+-]?)({_TIME_OF_DAY})\s*")
_OPERATOR = re.compile(r"\s*([/*^])\s*")
_PARTS = re.compile(r"(?=[/*^])|(?<=[/*^])")


def describe(kind: str) -> str:
    """Say what a quantity of a kind looks like: ``a length with its unit (m, mm, ...)``."""
    if kind == "fraction":
        return f"a share ({KINDS[kind][1]})"
    article = "an" if kind[0] in "aeiou" else "a"
    return f"{article} {kind.replace('_', ' ')} with its unit ({KINDS[kind][1]})"


def parse(text: object, kind: str) -> float:
    """Read a quantity such as ``"0.6 m"`` and return it in SI.

    Args:
        text: the text found in a file. ``"1:30"`` and ``"1:30:00"`` (h:min[:s]) are times too.
        kind: a key of KINDS.

    Returns:
        The value in the SI unit of the kind (radians for angles).

    Raises:
        QuantityError: a bare number, no number, not finite, or a unit of another kind.
    """
    accepted_words = describe(kind)
    if hasattr(text, "magnitude") and hasattr(text, "units"):  # of pint, from Python; a file holds none
        text = quantity_text(text)
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise QuantityError("not a quantity", found=text, accepted=accepted_words)
    if isinstance(text, str) and len(text) > LONGEST:
        raise QuantityError("not a quantity", found=f"{text[:LONGEST]}...", accepted=accepted_words)
    if isinstance(text, (int, float)):
        if kind == "fraction":
            text = repr(text)
        else:
            raise QuantityError("a bare number, the unit is missing", found=text, accepted=accepted_words)
    if kind == "time" and (clock := _CLOCK.fullmatch(text)):
        sign, written = clock.groups()
        hours, minutes, seconds = (*written.split(":"), "0")[:3]
        total = float(hours) * 3600.0 + int(minutes) * 60.0 + float(seconds)
        return _bounded(-total if sign == "-" else total, kind, text)
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise QuantityError("not a quantity", found=text, accepted=accepted_words)
    value, unit = float(match.group(1)), (match.group(2) or "")
    if not unit and kind != "fraction":
        raise QuantityError("a bare number, the unit is missing", found=text, accepted=accepted_words)
    size = UNITS[kind].get(_OPERATOR.sub(r"\1", unit))
    if size is None:
        raise QuantityError("not an accepted unit", found=text, accepted=accepted_words)
    return _bounded(value * size, kind, text)


def quantity_text(quantity: Any) -> str:
    """Return a quantity of pint as it is written in a file, in its own unit."""
    unit = f"{quantity.units:~C}".replace("**", "^").replace("°", "deg").replace("Δ", "")
    return f"{float(quantity.magnitude)!r} {unit}".rstrip()


def _bounded(value: float, kind: str, text: object) -> float:
    if not abs(value) <= LARGEST[kind]:
        accepted = f"{describe(kind)}, at most {LARGEST[kind]:g} {KINDS[kind][0]}".rstrip()
        raise QuantityError("too large to be meant", found=text, accepted=accepted)
    return value


def pattern(kind: str, least: float = -math.inf, above: bool = False) -> str:
    """Return the regular expression, for a JSON Schema, of the text that ``parse`` takes for a kind.

    Args:
        kind: a key of KINDS.
        least: the least value in SI; from 0 on a minus sign is left out.
        above: whether ``least`` itself is refused; from 0 on a number of zeros alone is left out.
    """
    sign = "[+-]?" if least < 0 else r"\+?"
    some = "(?=[0-9.:]*[1-9])" if least >= 0 and above else ""
    units = "|".join(r"\s*".join(re.escape(part) for part in _PARTS.split(unit)) for unit in UNITS[kind] if unit)
    optional = "?" if kind == "fraction" else ""
    clocks = f"|{sign}{some}{_TIME_OF_DAY}" if kind == "time" else ""
    return rf"^\s*(?:{sign}{some}{_UNSIGNED}\s*(?:{units}){optional}{clocks})\s*$"


def write(value: float, kind: str) -> str:
    """Write an SI value with its unit so that ``parse`` gives back the same value, bit for bit.

    Degrees where they can carry the value exactly, else radians; other kinds in their SI unit.

    Raises:
        ValueError: the value is not finite, or larger than any that is read.
    """
    if not math.isfinite(value):
        raise ValueError(f"a {kind} that is not finite cannot be written: {value}")
    if abs(value) > LARGEST[kind]:
        raise ValueError(f"a {kind} that is too large to be read again cannot be written: {value}")
    value = float(value)
    if kind in ("angle", "angular_speed", "angular_acceleration"):
        unit = KINDS[kind][0].replace("rad", "deg")
        for digits in (6, 9, 12, 15, 17):
            number = f"{math.degrees(value):.{digits}g}"
            if float(number) * UNITS[kind][unit] == value:
                return f"{number} {unit}"
    return f"{value!r} {KINDS[kind][0]}".rstrip()


def show(value: float, kind: str, digits: int = 3) -> str:
    """Write an SI value for people: metres, degrees, minutes and so on, with its unit."""
    if kind == "angle":
        return f"{value * 57.29577951308232:.{digits}f} deg"
    if kind == "angular_speed":
        return f"{value * 57.29577951308232:.{digits}f} deg/s"
    if kind == "time":
        return clock(value)
    return f"{value:.{digits}f} {KINDS[kind][0]}".rstrip()


def rounded_down(value: float, digits: int = 3) -> float:
    """Round a proven lower bound down, so that what is written claims no more than what was proven."""
    if not math.isfinite(value):
        return value
    share = 10.0**digits
    return math.floor(value * share + 1e-6) / share


def clock(seconds: float, digits: int = 1) -> str:
    """Write a time or how long something lasts as ``h:mm:ss.s``, which ``parse`` reads back.

    There is no shorter form: ``13:34`` beside ``3:17:56`` is read as hours by one and as minutes by the other.
    """
    if not math.isfinite(seconds):
        return "unknown"
    share = 10**digits
    parts = round(abs(seconds) * share)
    whole, part = divmod(parts, share)
    text = f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}" + (f".{part:0{digits}d}" if digits else "")
    return f"-{text}" if seconds < 0 and parts else text
