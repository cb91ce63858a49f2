"""Whether one outing begins as the one before it ended: people, things, fasteners, appendages, carts, base and arm."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from armcarry.ledger.state import ItemState, Page, PersonState
from armcarry.quantities import show
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.words import plain

#: stations and joints nearer than this are the same, m or rad
SAME = 0.01


@dataclass(frozen=True)
class Otherwise:
    """Somebody or something that stands otherwise than it was left; ``why`` is empty where nobody says so."""

    what: str
    left: str
    begins: str
    why: str = ""


def differences(first: Record, second: Record, why: Mapping[str, str] | None = None) -> tuple[Otherwise, ...]:
    """Return what stands otherwise at the start of the second run than the first left it.

    Args:
        why: name -> the reason that the series gives for it.
    """
    said = why or {}
    end, start = first.ledger.end, second.ledger.start
    rows = [*_people(end, start), *_items(end, start), *_platform(first, second), *_arm(first, second)]
    return tuple(Otherwise(name, left, begins, said.get(name, "")) for name, left, begins in rows)


_Row = tuple[str, str, str]


def _people(end: Page, start: Page) -> Iterator[_Row]:
    for name in sorted({*end.people, *start.people}):
        was, now = end.people.get(name), start.people.get(name)
        left, begins = _person(was, end), _person(now, start)
        absent = was is None or now is None
        if absent and "inside" in (left, begins):
            continue  # somebody who stays inside in one of them
        if left != begins:
            yield name, left, begins


def _person(state: PersonState | None, page: Page) -> str:
    if state is None:
        return "not there"
    if state.away or state.inside:
        return "inside"
    if state.restraint:
        return "on the arm" if page.on_arm(state.restraint) else f"in {plain(state.restraint)}"
    return plain(state.place) or "outside"


def _items(end: Page, start: Page) -> Iterator[_Row]:
    for name in sorted({*end.states, *start.states}):
        was, now = end.states.get(name), start.states.get(name)
        if was is None or now is None:
            yield name, _where(was), _where(now)
            continue
        if _where(was) != _where(now):
            yield name, _where(was), _where(now)
        old, new = dict(was.fasteners), dict(now.fasteners)
        for fastener in sorted({*old, *new}):
            if old.get(fastener) != new.get(fastener):
                left, begins = (f"{plain(fastener)} {state.get(fastener, 'unknown')}" for state in (old, new))
                yield name, left, begins
        # without a day nobody turns the bolts and connectors of seats, so neither run says how they are
        if end.asked.bonds and start.asked.bonds and was.where == now.where == "seat":
            for words, a, b in (("bolts tight", was.bolts_tight, now.bolts_tight),
                                ("connectors joined", was.connectors_joined, now.connectors_joined)):
                if a != b:
                    yield name, f"{a} {words}", f"{b} {words}"
            if was.tethers != now.tethers:
                left, begins = (f"tethered to {', '.join(sorted(map(plain, state.tethers))) or 'nothing'}"
                                for state in (was, now))
                yield name, left, begins


def _where(state: ItemState | None) -> str:
    if state is None:
        return "not there"
    if state.where == "seat":
        return f"in {plain(state.seat)}"
    return f"held by {', '.join(sorted(map(plain, state.hands)))}" if state.where == "held" else state.where


def _platform(first: Record, second: Record) -> Iterator[_Row]:
    """Yield appendages, carts and the base that stand otherwise, by their joints, and the vehicle."""
    model, other = (record.scene.loaded.scenario.platform for record in (first, second))
    if model != other:
        yield "platform", model, other
        return
    platform = first.scene.loaded.platform.document
    for name, appendage in platform.appendages.items():
        left, begins = ({joint: _at(record, joint, end) for joint in appendage.joints}
                        for record, end in ((first, True), (second, False)))
        if any(abs(left[joint] - begins[joint]) > SAME for joint in appendage.joints):
            yield name, _state(appendage.states, left), _state(appendage.states, begins)
    for name, cart in platform.carts.items():
        was, now = _at(first, cart.joint, True), _at(second, cart.joint, False)
        if abs(was - now) > SAME:
            yield name, f"at {show(was, 'length', 2)}", f"at {show(now, 'length', 2)}"
    scripts = [record.scene.loaded.scenario for record in (first, second)]
    if scripts[0].base.mount != scripts[1].base.mount:
        yield "base", plain(scripts[0].base.mount), plain(scripts[1].base.mount)
    elif (joint := platform.mounts[scripts[0].base.mount].joint) is not None:
        was, now = _at(first, joint, True), _at(second, joint, False)
        if abs(was - now) > SAME:
            yield "base", f"at {show(was, 'length', 2)}", f"at {show(now, 'length', 2)}"
    if scripts[0].vehicle != scripts[1].vehicle:
        yield "vehicle", scripts[0].vehicle, scripts[1].vehicle


def _state(states: Mapping[str, Mapping[str, float]], joints: Mapping[str, float]) -> str:
    """Return the state of an appendage by its joints, or their values where it is in none."""
    for name, wanted in states.items():
        if all(abs(joints.get(joint, 0.0) - value) <= SAME for joint, value in wanted.items()):
            return plain(name)
    return ", ".join(f"{plain(joint)} {value:.3f}" for joint, value in joints.items())


def _at(record: Record, joint: str, end: bool) -> float:
    motion = record.motion
    column = motion.columns_of([f"{PLATFORM}/{joint}"])[0]
    return float(motion.at(motion.end_s if end else motion.start_s)[column])


def _arm(first: Record, second: Record) -> Iterator[_Row]:
    if first.scene.arm_joints != second.scene.arm_joints:
        yield "arm", first.scene.loaded.arm.document.title, second.scene.loaded.arm.document.title
        return
    left = first.motion.at(first.motion.end_s)[first.scene.arm_columns]
    begins = second.motion.at(second.motion.start_s)[second.scene.arm_columns]
    off = np.abs(left - begins)
    if off.max() > SAME:
        k = int(np.argmax(off))
        joint = plain(first.scene.arm_joints[k].partition("/")[2])
        yield "arm", f"{joint} at {np.degrees(left[k]):.1f} deg", f"{joint} at {np.degrees(begins[k]):.1f} deg"
