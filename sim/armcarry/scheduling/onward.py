"""The rest of a day as a script: the long form of the run's own, with what is done otherwise from an instant on."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from armcarry.errors import InputError
from armcarry.files.documents.carries import FREE_KINDS
from armcarry.files.documents.step_parts import Takes
from armcarry.files.documents.steps import Step
from armcarry.files.yaml_write import yaml_document
from armcarry.quantities import clock
from armcarry.scheduling.turn import Turn
from armcarry.scheduling.write import Rearranged, going_step
from armcarry.timeline.acts import MOVES_ARM
from armcarry.timeline.plan import DayPlan

#: keys of a step that name others: lists, and single names
_LISTS, _SINGLE = ("after", "before", "together_with"), ("swap_places", "fallback", "no_return_until")
#: what the whole script says that holds for the day as written alone
_OF_THE_DAY = ("expect", "notes", "pictures")


@dataclass(frozen=True)
class Onward:
    """A day as it goes on.

    Attributes:
        title: of the way on, in words.
        plan: the day as it was to go.
        turn: what is known.
        change: order, who does what and ways that are put in, in steps of the long form.
        done: every step that is done, before the instant too.
        more_bolts: step -> how many more bolts it tightens than planned.
        more: step that the run's own script does not have -> the same as plain values.
    """

    title: str
    plan: DayPlan
    turn: Turn
    change: Rearranged
    done: frozenset[str]
    more_bolts: Mapping[str, int] = field(default_factory=dict)
    more: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def data(self) -> dict[str, Any]:
        """Return the script as plain values. Raises InputError where the run's own was not read from a file."""
        source = self.plan.scene.loaded.source
        if source is None:
            raise InputError("this run's script was not read from a file, so it cannot go on")
        old = source.yaml.data
        rest = {key: value for key, value in old.items() if key not in _OF_THE_DAY}
        title = f"{old['title']}, from {clock(self.turn.at_s, 0)} on: {self.title}"
        carries = self._carries(old.get("carries", []))
        return {**rest, "title": title, **({"carries": carries} if carries else {}), "day": self._day(old["day"])}

    # -- the day ------------------------------------------------------------------------------------------------

    @property
    def kept(self) -> tuple[str, ...]:
        """The steps that stand in the script, in their order: those that are done, and their fallbacks."""
        stands, more = set(self.done), set(self.done)
        while more:
            more = {str(step.fallback) for step in self.plan.day.steps
                    if step.name in more and step.fallback is not None} - stands  # fmt: skip
            stands |= more
        return tuple(name for name in self.change.order if name in stands)

    @property
    def to_come(self) -> frozenset[str]:
        """The steps that are done and not begun yet."""
        begun = {slot.name for slot in self.plan.schedule.slots if slot.start_s <= self.turn.at_s}
        return self.done - begun

    def _day(self, old: Mapping[str, Any]) -> dict[str, Any]:
        kept = set(self.kept)
        gone = ("may_vary", "any_of", "left_out", "not_at_once", "relax", "steps")
        day = {key: value for key, value in old.items() if key not in gone}
        vary = [one for one in old.get("may_vary", []) if set(one["steps"]) <= self.to_come]
        apart = [pair for pair in old.get("not_at_once", []) if set(pair) <= kept]
        relax = [{**one, "steps": [name for name in one["steps"] if name in kept]} for one in old.get("relax", [])]
        named = {"may_vary": vary, "not_at_once": apart, "relax": [one for one in relax if one["steps"]]}
        day |= {key: value for key, value in named.items() if value}
        return {**day, "steps": list(self._steps(old["steps"]))}

    def _steps(self, old: Sequence[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        """Yield the steps; the first to come of everybody begins not before the instant, so none does."""
        own = [step.name for step in self.plan.day.steps if step.name not in self.more]
        written = {**dict(zip(own, old, strict=True)), **self.more}
        known, waiting, taken = set(self.kept), set[str](), {step.name for step in self.plan.day.steps}
        known |= {going.name for going in self.change.goings}
        for name in self.kept:
            step = self.plan.step(name)
            handed = self.change.handed.get(name)
            actors = step.actors if handed is None else [handed[1]]
            for going in self.change.goings:  # two may go before a step that both do
                if going.before == name and name in self.to_come:
                    yield self._begun(going_step(going, taken), [going.who], waiting)
            data = self._step(step, {**written[name], "actors": list(step.actors)}, known)
            if handed is not None:
                data = _handed(data, step, handed[1])
            if name in self.more_bolts:
                data = _bolted(data, step, self.more_bolts[name])
            yield self._begun(data, actors, waiting) if name in self.to_come else data

    def _step(self, step: Step, data: Mapping[str, Any], known: set[str]) -> dict[str, Any]:
        """Return a step that names none that are gone."""
        new = {"name": step.name, **data}
        links = [*new.get("after", []), *self.change.links.get(step.name, ())]
        new = {**new, "after": list(dict.fromkeys(links))} if links else new
        for key in _LISTS:
            if key in new:
                new[key] = [name for name in new[key] if name in known]
        for key in _SINGLE:
            if new.get(key) is not None and new[key] not in known:
                del new[key]
        permits = new.get("as_time_permits")
        if isinstance(permits, dict) and "drops_with" in permits:
            new["as_time_permits"] = {**permits, "drops_with": [n for n in permits["drops_with"] if n in known]}
        if step.wait_for is not None and step.wait_for.steps:
            left = [name for name in step.wait_for.steps if name in known]
            new["wait_for"] = {**new["wait_for"], "steps": left}
            if not left and step.takes is None:
                new["takes"] = "0 s"
        return {key: value for key, value in new.items() if value != [] or key not in _LISTS}

    def _begun(self, data: dict[str, Any], actors: Collection[str], waiting: set[str]) -> dict[str, Any]:
        new = set(actors) - waiting
        waiting |= new
        earliest = self.plan.step(data["name"]).earliest if data["name"] in self.done else None
        return {**data, "earliest": f"{max(self.turn.at_s, earliest or 0.0):.3f} s"} if new else data

    # -- the arm ------------------------------------------------------------------------------------------------

    def _carries(self, old: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
        """Return the carries; those that may begin elsewhere than as planned look for their way in anew."""
        slots = sorted(self.plan.schedule.slots, key=lambda slot: slot.start_s)
        before = _neighbours([slot.name for slot in slots if self._moves(slot.name)])
        now = _neighbours([name for name in self.kept if name in self.done and self._moves(name)])
        first: dict[str, dict[str, Any]] = {one["name"]: next(iter(one.get("moves", [])), {}) for one in old}
        sought, elsewhere = set[str](), False
        for name, earlier in now.items():
            if name not in self.to_come:
                continue
            carry = self.plan.step(name).carry
            elsewhere = elsewhere or before.get(name) != earlier
            if carry is not None and elsewhere:
                sought.add(carry)
                elsewhere = "to_joints" not in first[carry]  # what leads to joint positions ends there from anywhere
        return [_sought(carry) if carry["name"] in sought else _as_flown(carry) for carry in old]

    def _moves(self, name: str) -> bool:
        return self.plan.step(name).kind in MOVES_ARM


def _neighbours(names: Sequence[str]) -> dict[str, str]:
    """Return each name -> the one before it."""
    return dict(zip(names, ("", *names), strict=False))


def _as_flown(carry: dict[str, Any]) -> dict[str, Any]:
    """Return a carry whose ways are not looked for again: those that still say so were flown the straight way."""
    if "moves" not in carry:
        return carry
    moves = [{key: value for key, value in move.items() if key != "way"} for move in carry["moves"]]
    return {**carry, "moves": moves}


def _sought(carry: dict[str, Any]) -> dict[str, Any]:
    """Return a carry whose first move, if it is a free one, looks for its way from wherever the arm is.

    It still ends where it did, so that what follows is flown as it was.
    """
    moves = carry.get("moves", [])
    if not moves or not any(key in moves[0] for key in FREE_KINDS):
        return carry
    name = moves[0].get("name") or f"{carry['name'][:44]}_1"
    first, *others = _as_flown(carry)["moves"]
    first = {key: value for key, value in first.items() if key != "via"}
    return {**carry, "moves": [{**first, "name": name, "way": "find"}, *others]}


def _handed(data: dict[str, Any], step: Step, to: str) -> dict[str, Any]:
    """Return a step that another does, in the time that it takes them."""
    new = {key: value for key, value in data.items() if key != "takes_by"}
    own = data.get("takes_by", {})
    return {**new, "actors": [to], **({"takes": own[to]} if to in own else {})}


def _bolted(data: dict[str, Any], step: Step, more: int) -> dict[str, Any]:
    """Return a step that turns more bolts, in as much more time."""
    if step.bolt is None:
        return data
    count = step.bolt.count
    new = {**data, "bolt": {**data["bolt"], "count": count + more}}
    longer = (count + more) / count
    if step.takes is not None:
        new["takes"] = _scaled(step.takes, longer)
    if step.takes_by:
        new["takes_by"] = {who: _scaled(takes, longer) for who, takes in step.takes_by.items()}
    return new


def _scaled(takes: Takes, by: float) -> dict[str, str]:
    return {key: f"{by * getattr(takes, key):.3f} s" for key in ("least", "likely", "most")}


def as_text(data: Mapping[str, Any]) -> str:
    """Return a script as YAML."""
    return yaml_document(dict(data))
