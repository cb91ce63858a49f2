"""Which limit is met next and when, in one line with a level that a colour and a sound follow."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.handfly.control import Pilot
from armcarry.handfly.live import AHEAD_S, Readings
from armcarry.scene.words import plain, plain_joint

#: a limit met sooner than the first is a warning, sooner than the second an alarm, s
WARN_S, ALARM_S = 9.0, 5.0
#: margin of a gap in a word, from the least, m
CLASSES = ((0.0, "short"), (0.1, "tight"), (0.5, "near"), (np.inf, "free"))
#: seconds between two sounds at each level; level 0 is silent
BEEP_S = (np.inf, 1.5, 0.6, 0.25)


@dataclass(frozen=True)
class Alarm:
    """The limit met next.

    Attributes:
        level: 0 nothing within WARN_S, 1 warning, 2 alarm, 3 met.
        words: what, for people.
        in_s: when, at the present rates; inf where nothing comes.
    """

    level: int
    words: str
    in_s: float


def margin_class(margin_m: float) -> str:
    """Name a margin: short, tight, near or free."""
    return next(name for limit, name in CLASSES if margin_m < limit)


def alarm(readings: Readings, pilot: Pilot) -> Alarm:
    """Return the limit that is met next: a clearance, a run-out, the end of a joint's travel, a lost direction."""
    close = readings.pairs[0] if readings.pairs else None
    if close is not None and close.margin_m < 0:
        return Alarm(3, f"{plain(close.body_a)} and {plain(close.body_b)} are nearer than required", 0.0)
    if readings.singular < pilot.scene.loaded.rules.margins.smallest_singular_value:
        return Alarm(3, "the arm has nearly lost a direction of motion", 0.0)
    found = []
    if readings.warning_pair is not None and readings.warning_s < AHEAD_S:
        words = f"{' and '.join(map(plain, readings.warning_pair))} come nearer than required"
        found.append(Alarm(_level(readings.warning_s), words, readings.warning_s))
    if readings.run_out_left_m < 0:
        found.append(Alarm(2, "a stop now would run out too near", 0.0))
    if readings.end_joint >= 0 and readings.end_s < AHEAD_S:
        joint = plain_joint(pilot.scene.arm_joints[readings.end_joint])
        found.append(Alarm(_level(readings.end_s), f"{joint} meets the end of its travel", readings.end_s))
    return min(found, key=lambda item: (-item.level, item.in_s), default=Alarm(0, "no limit is near", np.inf))


def _level(in_s: float) -> int:
    return 3 if in_s <= 0.05 else 2 if in_s < ALARM_S else 1 if in_s < WARN_S else 0
