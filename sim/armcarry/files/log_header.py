"""What the columns of a log hold: by their headings, or by a small file that says it of somebody else's log.

A heading names its unit: ``time [s]``, ``shoulder_turn (deg)``, ``time_s`` or ``arm/shoulder_turn_rad``, so that a run
folder's ``motion.parquet`` is a log too. A column ``time`` without a unit holds dates and times of ISO 8601.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from armcarry.errors import InputError, QuantityError
from armcarry.files import names
from armcarry.files.documents.log import LogColumnsDocument
from armcarry.files.validate import Source, raise_all
from armcarry.files.yaml_text import shorten
from armcarry.quantities import KINDS, parse
from armcarry.texts import shown

TIME, MARK = "time", "move"
_FORMS = (
    re.compile(r"\s*(\S.*?)\s*\[\s*([^\[\]]+?)\s*\]\s*"), re.compile(r"\s*(\S.*?)\s*\(\s*([^()]+?)\s*\)\s*"),
    re.compile(r"(.+?)_(s|ms|min|rad|deg|m|mm|cm)"),
)  # fmt: skip
#: columns of a run's own motion.parquet that follow from the joints
_DERIVED = re.compile(r".+_rate_(rad|m)_s|tip_[xyz]_m|tip_q[wxyz]")
_TIME_UNITS, _JOINT_UNITS = ("time",), ("angle", "length")


@dataclass(frozen=True)
class Column:
    """A column of positions.

    Attributes:
        joint, unit: the joint as written, and the unit of the numbers.
        reversed: whether it counts the other way than the joint of the model.
        zero: where the joint stands when the log says 0, rad or m.
        wraps: whether it starts anew after a whole turn.
    """

    joint: str
    unit: str
    reversed: bool = False
    zero: float = 0.0
    wraps: bool = False

    @property
    def kind(self) -> str:
        """What its unit measures: angle or length."""
        return _kind(self.unit, _JOINT_UNITS)

    @property
    def words(self) -> str:
        """What was done to the numbers besides their unit; nothing when they were taken as they stand."""
        zero = f"{'reversed, then ' if self.reversed else ''}{self.zero:+.6g} {'rad' if self.kind == 'angle' else 'm'}"
        done = [zero] if self.zero else ["reversed"] if self.reversed else []
        return " and ".join([*done, *(["unwrapped"] if self.wraps else [])])


@dataclass(frozen=True)
class Header:
    """What the columns of a table hold.

    Attributes:
        time_at, time_unit: place and unit of the times; no unit for ISO 8601.
        mark_at: place of the names of moves, if there is such a column.
        places, columns: place and meaning of each column of positions.
        passed_over: headings that mean nothing here.
    """

    time_at: int
    time_unit: str
    mark_at: int | None
    places: tuple[int, ...]
    columns: tuple[Column, ...]
    passed_over: tuple[str, ...] = ()


def read_header(headings: list[str], path: Path, line: int, said: Source[LogColumnsDocument] | None = None) -> Header:
    """Return what the columns of a log hold.

    Args:
        headings: the first row of the table.
        path, line: where it stands.
        said: a file that tells what columns mean; without one the headings do.

    Raises:
        InputError: a column whose meaning or unit stays open, none of times, none of positions, two for one joint.
    """
    return _by_heading(headings, path, line) if said is None else _by_file(headings, path, line, said)


# -- by their headings --------------------------------------------------------------------------------------------


@dataclass
class _Found:
    time: tuple[int, str] | None = None
    mark: int | None = None
    columns: dict[int, Column] = field(default_factory=dict)
    seen: set[str] = field(default_factory=set)


def _by_heading(headings: list[str], path: Path, line: int) -> Header:
    found = _Found()
    problems: list[InputError] = []
    for place, text in enumerate(headings):
        plain = text.strip()
        try:
            _one(plain, place, found)
        except InputError as error:
            accepted = error.accepted or "time [s], shoulder_turn [deg], ...; move for the names of moves"
            problems.append(InputError(error.problem, file=path, line=line, found=shorten(plain), accepted=accepted))
    if found.time is None and not problems:
        problems.append(InputError("no column of times", file=path, line=line, accepted="time [s]"))
    if not found.columns and not problems:
        accepted = "elbow_bend [deg]"
        problems.append(InputError("no column of joint positions", file=path, line=line, accepted=accepted))
    raise_all(problems)
    return Header(*(found.time or (0, "")), found.mark, tuple(found.columns), tuple(found.columns.values()))


def _one(plain: str, place: int, found: _Found) -> None:
    """Note what one heading says. Raises InputError."""
    if plain == MARK:
        found.mark = place
        return
    if len(plain) <= 200 and _DERIVED.fullmatch(plain):
        return
    name, unit = _split(plain)
    if name == TIME:
        if unit:
            _kind(unit, _TIME_UNITS)
    elif not unit:
        raise InputError(f"column '{shorten(plain)}' names no unit")
    else:
        _kind(unit, _JOINT_UNITS)
    if name in found.seen:
        raise InputError(f"a second column for '{shorten(name)}'")
    found.seen.add(name)
    if name == TIME:
        found.time = (place, unit)
    else:
        found.columns[place] = Column(name, unit)


def _split(heading: str) -> tuple[str, str]:
    """Return name and unit of a heading; no unit where it names none."""
    if len(heading) <= 200:  # a pattern takes long over many blanks
        for form in _FORMS:
            if (match := form.fullmatch(heading)) is not None:
                return match.group(1), match.group(2)
    return heading, ""


def _kind(unit: str, kinds: tuple[str, ...]) -> str:
    """Return what a unit measures. Raises InputError when it is none of ``kinds``."""
    for kind in kinds:
        try:
            parse(f"1 {unit}", kind)
        except QuantityError:
            continue
        return kind
    accepted = " or ".join(f"{kind} in {KINDS[kind][1]}" for kind in kinds)
    raise InputError(f"'{shorten(unit)}' is no unit for this column", accepted=accepted)


# -- by a file ----------------------------------------------------------------------------------------------------


def _by_file(headings: list[str], path: Path, line: int, said: Source[LogColumnsDocument]) -> Header:
    document = said.document
    plain = [heading.strip() for heading in headings]
    problems = list(_not_there(plain, path, line, said))
    columns: dict[int, Column] = {}
    time_unit = ""
    for key, place in _places(plain, said):
        try:
            if key == ("time",):
                time_unit = document.time.unit or _split(document.time.column)[1]
                if time_unit:
                    _kind(time_unit, _TIME_UNITS)
                continue
            columns[place] = _column(plain[place], said)
        except InputError as error:
            problems.append(said.problem(key, error.problem, accepted=error.accepted))
    raise_all(problems)
    mark = plain.index(document.move) if document.move else None
    time_at = plain.index(document.time.column)
    known = {time_at, mark, *columns}
    passed = tuple(heading for place, heading in enumerate(plain) if place not in known)
    return Header(time_at, time_unit, mark, tuple(columns), tuple(columns.values()), passed)


def _not_there(
    plain: list[str], path: Path, line: int, said: Source[LogColumnsDocument]
) -> Iterator[InputError]:
    document = said.document
    asked: dict[str, tuple[str, ...]] = {document.time.column: ("time", "column")}
    asked |= {name: ("joints", name) for name in document.joints}
    if document.move:
        asked[document.move] = ("move",)
    for heading, key in asked.items():
        if plain.count(heading) != 1:
            found = "two columns" if heading in plain else "no column"
            problem = f"{found} '{shorten(heading)}' in {path.name}, line {line}"
            yield said.problem(key, problem, accepted=names.accepted(heading, plain, "column"))


def _places(plain: list[str], said: Source[LogColumnsDocument]) -> Iterator[tuple[tuple[str, ...], int]]:
    """Yield key and place of the times and of each joint whose column is there."""
    if said.document.time.column in plain:
        yield ("time",), plain.index(said.document.time.column)
    for heading in said.document.joints:
        if heading in plain:
            yield ("joints", heading), plain.index(heading)


def _column(heading: str, said: Source[LogColumnsDocument]) -> Column:
    one = said.document.joints[heading]
    unit = one.unit or _split(heading)[1]
    if not unit:
        raise InputError(f"nothing says in which unit column '{shorten(heading)}' is", accepted="unit: deg")
    kind = _kind(unit, _JOINT_UNITS)
    written = next(raw.get("zero") for name, raw in said.yaml.data["joints"].items() if shown(name) == heading)
    zero = 0.0 if written is None else parse(written, kind)
    if one.wraps and kind != "angle":
        raise InputError("only what turns starts anew after a whole turn", accepted="wraps for an angle alone")
    return Column(one.joint, unit, one.reversed, zero, one.wraps)
