"""Text with units to SI floats and back, only at the edges of the program.

Inside armcarry everything is SI with angles in radians. Files carry a unit in
every quantity ("0.6 m", "2 ft", "15 deg"); a bare number is refused.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Any

from armcarry.errors import QuantityError

#: kind -> (SI unit, every unit accepted in a file)
KINDS: dict[str, tuple[str, str]] = {
    "length": ("m", "m, mm, cm, km, ft, in"),
    "angle": ("rad", "deg, rad"),
    "time": ("s", "s, min, h, ms"),
    "mass": ("kg", "kg, g, lb"),
    "speed": ("m/s", "m/s, mm/s, cm/s, ft/s, ft/min, in/s"),
    "angular_speed": ("rad/s", "deg/s, rad/s, deg/min"),
    "acceleration": ("m/s^2", "m/s^2, mm/s^2, cm/s^2, ft/s^2"),
    "angular_acceleration": ("rad/s^2", "deg/s^2, rad/s^2"),
    "force": ("N", "N, kN, lbf"),
    "torque": ("N*m", "N*m, ft*lbf"),
    "fraction": ("", "% or a plain number between 0 and 1"),
}

# [0-9] and not \d, which takes the digits of every script: a schema's patterns take these alone
_UNSIGNED = r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_TIME_OF_DAY = r"[0-9]+:[0-5][0-9](?::[0-5][0-9](?:\.[0-9]+)?)?"
_NUMBER = re.compile(rf"\s*([+-]?{_UNSIGNED})\s*(\S.*?)?\s*")
_CLOCK = re.compile(rf"\s*([+-]?)({_TIME_OF_DAY})\s*")
_OPERATOR = re.compile(r"\s*([/*^])\s*")
_PARTS = re.compile(r"(?=[/*^])|(?<=[/*^])")


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # heavy: only when the first unit is not in the table of common ones

    return pint.UnitRegistry()


#: factors of the units most files use, so that reading one does not load pint
_COMMON: dict[str, dict[str, float]] = {
    "length": {"m": 1.0, "mm": 1e-3, "cm": 1e-2},
    "angle": {"rad": 1.0, "deg": 0.017453292519943295},
    "time": {"s": 1.0, "min": 60.0, "h": 3600.0},
    "mass": {"kg": 1.0},
    "speed": {"m/s": 1.0, "mm/s": 1e-3},
    "angular_speed": {"rad/s": 1.0, "deg/s": 0.017453292519943295},
    "acceleration": {"m/s^2": 1.0},
    "angular_acceleration": {"rad/s^2": 1.0, "deg/s^2": 0.017453292519943295},
    "force": {"N": 1.0},
    "torque": {"N*m": 1.0},
    "fraction": {"%": 0.01, "": 1.0},
}


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
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise QuantityError("not a quantity", found=text, accepted=accepted_words)
    if isinstance(text, (int, float)):
        if kind == "fraction":
            text = repr(text)
        else:
            raise QuantityError("a bare number, the unit is missing", found=text, accepted=accepted_words)
    if kind == "time" and (clock := _CLOCK.fullmatch(text)):
        sign, written = clock.groups()
        hours, minutes, seconds = (*written.split(":"), "0")[:3]
        total = float(hours) * 3600.0 + int(minutes) * 60.0 + float(seconds)
        return _believable(-total if sign == "-" else total, text, accepted_words)
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise QuantityError("not a quantity", found=text, accepted=accepted_words)
    value, unit = float(match.group(1)), (match.group(2) or "")
    if not unit and kind != "fraction":
        raise QuantityError("a bare number, the unit is missing", found=text, accepted=accepted_words)
    return _believable(value * _factor(unit, kind, text, accepted_words), text, accepted_words)


def _believable(value: float, text: object, accepted: str) -> float:
    if not abs(value) < 1e15:
        raise QuantityError("too large to be meant", found=text, accepted=accepted)
    return value


def _units(kind: str) -> list[str]:
    """Return every unit accepted for a kind."""
    return ["%"] if kind == "fraction" else KINDS[kind][1].split(", ")


def _factor(unit: str, kind: str, text: str, accepted: str) -> float:
    plain = _OPERATOR.sub(r"\1", unit)
    if plain in _COMMON[kind]:
        return _COMMON[kind][plain]
    if plain not in _units(kind):
        raise QuantityError("not an accepted unit", found=text, accepted=accepted)
    return float(_registry().Quantity(1.0, plain).to(KINDS[kind][0]).magnitude)


def pattern(kind: str, least: float = -math.inf, above: bool = False) -> str:
    """Return the regular expression, for a JSON Schema, of the text that ``parse`` takes for a kind.

    Args:
        kind: a key of KINDS.
        least: the least value in SI; from 0 on a minus sign is left out.
        above: whether ``least`` itself is refused; from 0 on a number of zeros alone is left out.
    """
    sign = "[+-]?" if least < 0 else r"\+?"
    some = "(?=[0-9.:]*[1-9])" if least >= 0 and above else ""
    units = "|".join(r"\s*".join(re.escape(part) for part in _PARTS.split(unit)) for unit in _units(kind))
    optional = "?" if kind == "fraction" else ""
    clocks = f"|{sign}{some}{_TIME_OF_DAY}" if kind == "time" else ""
    return rf"^\s*(?:{sign}{some}{_UNSIGNED}\s*(?:{units}){optional}{clocks})\s*$"


def write(value: float, kind: str) -> str:
    """Write an SI value with its unit so that ``parse`` gives back the same value, bit for bit.

    Degrees where they can carry the value exactly, else radians; other kinds in their SI unit.

    Raises:
        ValueError: the value is not finite.
    """
    if not math.isfinite(value):
        raise ValueError(f"a {kind} that is not finite cannot be written: {value}")
    value = float(value)
    if kind in ("angle", "angular_speed", "angular_acceleration"):
        unit = KINDS[kind][0].replace("rad", "deg")
        for digits in (6, 9, 12, 15, 17):
            text = f"{math.degrees(value):.{digits}g} {unit}"
            if parse(text, kind) == value:
                return text
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
