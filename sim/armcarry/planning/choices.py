"""What a search of restraint settings gives: each way to set it, its margins, and the words for people."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.planning.detents import count_words
from armcarry.planning.stance import Place
from armcarry.quantities import show

Hands = Literal["one", "two"]

#: headings of the table of choices
HEADINGS = ("rank", "steps from neutral", "posture", "margin", "reach", "view", "clearance", "arm", "nearest bodies")


@dataclass(frozen=True)
class PointMargin:
    """How far inside the hands' envelope and the visor's view one work point is, metres, negative outside."""

    name: str
    one_hand_m: float
    two_hand_m: float
    sight_m: float


@dataclass(frozen=True, eq=False)
class RestraintChoice:
    """One way to set the restraint, and what it gives.

    Attributes:
        settings: angle of each setting, rad; detents: steps of it from zero.
        turn_count: steps the stand is turned about its normal.
        posture: name of the crew document's posture.
        margin_m: least of reach, sight and clearance beyond the stated minimum.
        reach_m, sight_m: least over the work points.
        clearance_m: proven lower bound of the least distance, or a distance nothing is within when
            ``nearest`` is empty.
        nearest: the two bodies that are closest.
        points: margins of each work point.
        T_stand_plate: (4, 4) where the plate stands in the worksite's stand frame.
        T_world_mount: (4, 4) where the restraint's mount is, so the arm's tip or the socket.
        arm: how the arm reaches it from where its base stands; empty where that was not looked at.
    """

    settings: dict[str, float]
    detents: dict[str, int]
    turn_count: int
    posture: str
    margin_m: float
    reach_m: float
    sight_m: float
    clearance_m: float
    nearest: tuple[str, ...]
    points: tuple[PointMargin, ...]
    T_stand_plate: Array
    T_world_mount: Array
    arm: str = ""

    @property
    def words(self) -> str:
        """Setting and turn counts as a step card has them."""
        return count_words(self.detents, self.turn_count)

    @property
    def steps(self) -> int:
        """Steps from neutral, all settings and the turn together."""
        return sum(abs(count) for count in self.detents.values()) + abs(self.turn_count)


@dataclass(frozen=True, eq=False)
class RestraintSearch:
    """What a search came to.

    Attributes:
        worksite, crew, size, hands, place: what was asked for.
        clearance_m: least distance that was required.
        choices: best first; the margin in whole millimetres counts, then the fewest steps from neutral.
        tried: settings x turns x postures.
        in_reach: how many of them bring every work point before the hands; in_sight: and into view.
        measured: for how many of those clearance was measured; too_close: how many of these were refused.
        in_the_way: the two bodies that refuse most often, empty where none is refused.
        nearest_miss: the best one before clearance was looked at.
        assumed: whether the lengths of the envelope are an assumption.
    """

    worksite: str
    crew: str
    size: str
    hands: Hands
    place: Place
    clearance_m: float
    choices: tuple[RestraintChoice, ...]
    tried: int
    in_reach: int
    in_sight: int
    measured: int
    too_close: int
    in_the_way: tuple[str, ...]
    nearest_miss: RestraintChoice
    assumed: bool = False

    @cached_property
    def message(self) -> str:
        """One sentence for people: what was found, or what stops the nearest miss."""
        if self.choices:
            best = self.choices[0]
            return (
                f"{self.worksite}: {len(self.choices)} best of {self.tried} settings and postures for {self.crew} "
                f"({self.size}); {self.in_sight} bring all work within {self.hands}-hand reach and into view; "
                f"best margin {best.margin_m:.3f} m"
            )
        if self.in_sight:
            return (
                f"{self.worksite}: {self.in_sight} of {self.tried} settings and postures bring all work within "
                f"{self.hands}-hand reach and into view, but each has a body closer than {self.clearance_m:.3f} m, "
                f"most often {' to '.join(self.in_the_way)}"
            )
        worst = min(self.nearest_miss.points, key=lambda point: min(self._hand_m(point), point.sight_m))
        short = "within reach" if self._hand_m(worst) < worst.sight_m else "into view"
        return (
            f"{self.worksite}: none of {self.tried} settings and postures brings all work within {self.hands}-hand "
            f"reach and into view; the nearest is {-self.nearest_miss.margin_m:.3f} m short of bringing "
            f"{worst.name} {short}"
        )

    def _hand_m(self, point: PointMargin) -> float:
        return point.two_hand_m if self.hands == "two" else point.one_hand_m

    def rows(self) -> list[tuple[str, ...]]:
        """Return one row of text a choice, under HEADINGS."""
        return [
            (
                str(rank), choice.words, choice.posture, f"{choice.margin_m:.3f} m", f"{choice.reach_m:.3f} m",
                f"{choice.sight_m:.3f} m", f"{'' if choice.nearest else '>'}{choice.clearance_m:.3f} m",
                choice.arm or "not asked", " to ".join(choice.nearest),
            )
            for rank, choice in enumerate(self.choices, start=1)
        ]

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; lengths in metres, angles in radians, poses as position and roll-pitch-yaw."""
        return {
            "worksite": self.worksite, "crew": self.crew, "size": self.size, "hands": self.hands, "place": self.place,
            "clearance_m": self.clearance_m, "tried": self.tried, "in_reach": self.in_reach, "in_sight": self.in_sight,
            "measured": self.measured, "too_close": self.too_close,
            "in_the_way": list(self.in_the_way), "reach_is_assumed": self.assumed,
            "message": self.message, "choices": [_plain(choice) for choice in self.choices],
        }


def _plain(choice: RestraintChoice) -> dict[str, Any]:
    return {
        "settings_rad": choice.settings, "settings": {n: show(v, "angle", 1) for n, v in choice.settings.items()},
        "steps_from_neutral": choice.detents, "turn_count": choice.turn_count, "posture": choice.posture,
        "margin_m": choice.margin_m, "reach_m": choice.reach_m, "sight_m": choice.sight_m,
        "clearance_m": choice.clearance_m, "nearest": list(choice.nearest),
        "points": [vars(point) for point in choice.points], "arm": choice.arm,
        "plate_in_stand": {
            "position_m": choice.T_stand_plate[:3, 3].tolist(),
            "rotation_rad": poses.rpy(choice.T_stand_plate).tolist(),
        },
    }
