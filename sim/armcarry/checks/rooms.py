"""Does everybody keep out of the platform's rooms, touch none that is not to be touched, and leave by the way along?"""

from __future__ import annotations

from armcarry.files.documents.rooms import Room
from armcarry.proving.rooms import RoomRow, on_spans, room_rows
from armcarry.quantities import clock
from armcarry.record.figures import at_least, down
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record

_make = Maker("rooms")
_KINDS = {
    "keep_out": "a room to keep out of", "hot": "hot", "cold": "cold", "sharp_edge": "a sharp edge",
    "emitter": "an emitter", "thruster": "a thruster",
}  # fmt: skip


def check(record: Record) -> tuple[Finding, ...]:
    """Give a finding for each room and whoever comes into it or too near, and one for each room that all keep.

    None where the platform has no rooms.
    """
    rooms = record.scene.loaded.platform.document.rooms
    rows = room_rows(record) if rooms else ()
    findings = list[Finding]()
    for name, room in rooms.items():
        mine = [row for row in rows if row.room == name]
        findings += _judged(record, name, room, mine)
    return tuple(findings)


def _judged(record: Record, name: str, room: Room, rows: list[RoomRow]) -> list[Finding]:
    whole, said = (0.0, record.duration_s), _said(name, room)
    if not rows:
        if not on_spans(record, room.while_on):
            return [_make.passed(name, f"{said}: {room.while_on} is switched off all through", at=whole)]
        words = f"{said}: nothing that fits '{room.asked_of}' is outside at any instant"
        return [_make.passed(name, words, at=whole)]
    broken: dict[str, list[RoomRow]] = {}
    for row in rows:
        if row.inside or not at_least(row.lower_m, row.required_m, "m").kept:
            broken.setdefault(row.body.split("/", 1)[0], []).append(row)
    if broken:
        return [_broken(record, name, room, mine) for mine in broken.values()]
    row = min(rows, key=lambda one: one.lower_m)
    near = at_least(row.lower_m, row.required_m, "m")
    walls = "the walls of " if room.kind == "way_along" else ""
    when = f" while {room.while_on} is on" if room.while_on else ""
    words = f"nobody comes nearer to {walls}{said}{when} than {row.body}, {near.said} ({near.asked} to be kept)"
    return [_make.passed(name, words, other=row.body, at=row.time_s, value=row.lower_m, limit=row.required_m, unit="m")]


def _broken(record: Record, name: str, room: Room, rows: list[RoomRow]) -> Finding:
    """Return the finding of one thing that comes into a room, or too near."""
    first = min(rows, key=lambda row: (not row.inside, row.time_s if row.inside else row.lower_m))
    said, bodies = _said(name, room), sorted({row.body for row in rows})
    others = f", and {len(bodies) - 1} more of its bodies" if len(bodies) > 1 else ""
    if first.inside:
        goes = "passes a wall of" if room.kind == "way_along" else "comes into"
        words = f"{first.body}{others} {goes} {said} at {clock(first.time_s)}"
    else:
        near = at_least(first.lower_m, first.required_m, "m")
        words = f"{first.body}{others} comes as near to {said} as {near.said} at {clock(first.time_s)}; {near.asked} " \
                "is to be kept"  # fmt: skip
    remedy = "lead the way round it (via, another approach, armcarry route)"
    if room.kind == "way_along":
        remedy = f"come and go along the x axis of {name}, within its walls"
    if room.while_on:
        remedy += f", or switch {room.while_on} off (switched_off in the scenario)"
    source = record.scene.loaded.platform.path.name
    value = None if first.inside else first.lower_m
    return _make.failed(name, words, f"{remedy}; the room stands in {source}", other=first.body, at=first.time_s,
                        value=value, limit=first.required_m, unit="m")  # fmt: skip


def _said(name: str, room: Room) -> str:
    """Return a room in words: its name, what it is, why."""
    kind = "the way along" if room.kind == "way_along" else _KINDS[room.kind]
    size = f", {down(room.length, 'm', 2)} long" if room.length is not None else ""
    return f"{name} ({kind}{size}{': ' + room.why if room.why else ''})"
