"""A computed day: when each step is done, what is left out, and how much of each limit is used."""

from __future__ import annotations

from dataclasses import dataclass

from armcarry.errors import FrameError
from armcarry.timeline.network import Network
from armcarry.timeline.task import Limit

#: instants closer than this are the same, seconds; sums of doubles over a day err by far less
SAME_S = 1e-6


@dataclass(frozen=True)
class Slot:
    """When one step is done.

    Attributes:
        latest_start_s, latest_end_s: still without a later end of the day.
        total_slack_s: how much later it may end without a later end of the day.
        free_slack_s: how much later it may end without any other step beginning later.
    """

    name: str
    actors: tuple[str, ...]
    start_s: float
    end_s: float
    latest_start_s: float
    latest_end_s: float
    free_slack_s: float

    @property
    def total_slack_s(self) -> float:
        """Latest end less end."""
        return self.latest_end_s - self.end_s

    @property
    def critical(self) -> bool:
        """Whether any delay of it delays the end of the day."""
        return self.total_slack_s <= SAME_S


@dataclass(frozen=True)
class Dropped:
    """A step left out, why, and what is done in its place."""

    name: str
    why: str
    fallback: str | None = None


@dataclass(frozen=True)
class LimitUse:
    """How much of a limit the schedule uses; ``margin_s`` below zero is an overrun.

    ``end_s`` is when the last step that it counts ends; of a tank what is used up by then, in seconds of light effort.
    """

    limit: Limit
    end_s: float
    last_step: str

    @property
    def margin_s(self) -> float:
        """What is left."""
        return self.limit.lasts_s - self.end_s


@dataclass(frozen=True)
class Schedule:
    """A computed day.

    Attributes:
        slots: one for each step that is done, in listed order.
        critical_path: steps from the start to the end of the day, each waiting for the one before.
        dropped: steps left out.
        limits: cut-off and consumables, with margins.
        network: the waits it was computed from.
    """

    slots: tuple[Slot, ...]
    critical_path: tuple[str, ...]
    dropped: tuple[Dropped, ...]
    limits: tuple[LimitUse, ...]
    network: Network

    @property
    def end_s(self) -> float:
        """End of the last step."""
        return max((slot.end_s for slot in self.slots), default=0.0)

    def slot(self, name: str) -> Slot:
        """Return the slot of a step. Raises FrameError when it is not done."""
        for slot in self.slots:
            if slot.name == name:
                return slot
        raise FrameError("step in the schedule", name, (slot.name for slot in self.slots))

    def of(self, actor: str) -> tuple[Slot, ...]:
        """Return what one actor does, by start."""
        return tuple(sorted((s for s in self.slots if actor in s.actors), key=lambda s: (s.start_s, s.end_s)))

    def tasks_done(self) -> frozenset[str]:
        """Return the names of the steps that are done."""
        return frozenset(slot.name for slot in self.slots)
