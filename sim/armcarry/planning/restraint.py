"""Which settings of the foot restraint, and which posture, bring all work of a worksite before the hands."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.clearance.least import least_distances
from armcarry.errors import InputError
from armcarry.files.documents.bodies import CrewDocument, ReachEnvelope
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.planning.choices import Hands, PointMargin, RestraintChoice, RestraintSearch
from armcarry.planning.stance import Place, Stance, look_up, take_stance
from armcarry.planning.trial import Base, Reached, Trial
from armcarry.scene.assumed import is_assumed
from armcarry.scene.build import PLATFORM, RESTRAINT, Scene
from armcarry.scene.reach import hand_margins, sight_margin_m

#: turns of the stand about its normal are counted in steps of this, rad
TURN_STEP_RAD = float(np.radians(15.0))
#: settings are ranked by margin in steps of this, then by how few steps they are from neutral, m
RANK_M = 1e-3
#: choices that are shown to the arm, until enough of them are reached
LOOKED_AT = 40
#: clearance is measured for this many settings and postures at a time
_BATCH = 128


def find_settings(
    scene: Scene,
    worksite: str,
    *,
    crew: str | None = None,
    postures: Sequence[str] | None = None,
    hands: Hands | None = None,
    place: Place | None = None,
    restraint: str | None = None,
    clearance_m: float = 0.05,
    turn_counts: Sequence[int] = (0,),
    turn_step_rad: float = TURN_STEP_RAD,
    limit: int = 10,
    once: bool = True,
) -> RestraintSearch:
    """Find the settings and postures with the widest margin at a worksite; every combination is tried.

    Gloves are left out of the clearance: they go where the work is. So is the arm beyond the bodies rigid
    with its tip, whose shape there is not known before the carry is planned.

    Args:
        scene: documents, models, and where everything else stands.
        worksite: name in the platform document.
        crew: who; default the rider, else the first crewmember.
        postures: which postures to try; default all of the crew document.
        hands: which envelope must hold the work; default what the worksite asks for.
        place: ``stand`` keeps the plate on the worksite's stand, as a move to the worksite does, so the
            settings decide where the arm's tip is; ``tip`` keeps the arm's tip where the neutral setting has
            the plate on the stand, so they decide where the body is; ``socket`` puts the restraint into the
            worksite's fixed socket. Default: socket where the restraint is not on the arm and there is one,
            else stand.
        clearance_m: least distance of crewmember, restraint and what they hold to anything that stands.
        restraint: its name; default the one that the crewmember stands in, else the one on the arm, else the first.
        turn_counts, turn_step_rad: turns of the stand about its normal to try, in steps; 0 as it is.
        limit: how many choices to return.
        once: return of settings that come to the same only the one with the fewest steps.

    Raises:
        FrameError: no such worksite, crewmember or posture.
        InputError: no restraint, no crewmember, no socket, no work point, or nothing to try.
    """
    who = look_up(scene, worksite, crew, place, restraint)
    member = scene.loaded.crew[who.crew]
    if not who.site.work_points:
        raise InputError(f"worksite '{worksite}' has no work points to bring before the hands", accepted="work_points")
    postures = tuple(member.document.postures) if postures is None else tuple(postures)
    if not postures or not len(turn_counts) or limit < 1:
        raise InputError("nothing to try", accepted="one posture, one turn count and a limit of 1, at least")
    hands = hands or who.site.hands
    points = np.array(
        [
            scene.tree.pose_of(f"{PLATFORM}/{frame}", scene.position)[:3, 3]
            for frame in who.site.work_points.values()
        ]
    )
    within_m = clearance_m + max(member.size.reach.one_hand, member.size.reach.two_hand)
    stance = take_stance(scene, who, postures, turn_counts, turn_step_rad, within_m)
    reach = _Reach.of(stance, points, member.size.reach, member.document, hands)
    search = _Search(stance, reach, tuple(who.site.work_points), clearance_m)
    choices = search.best(limit, once)
    return RestraintSearch(
        worksite=worksite,
        crew=who.crew,
        size=member.size_name,
        hands=hands,
        place=who.place,
        clearance_m=clearance_m,
        choices=choices,
        tried=reach.least_m.size,
        in_reach=int((reach.hand_m.min(axis=-1) >= 0).sum()),
        in_sight=int((reach.least_m >= 0).sum()),
        measured=search.measured,
        too_close=search.too_close,
        in_the_way=search.in_the_way,
        nearest_miss=search.nearest_miss,
        assumed=is_assumed(scene.loaded, member.path, f"sizes.{member.size_name}.reach"),
    )


def restraint_table(
    scenario: Path | str,
    worksite: str,
    *,
    crew: str | None = None,
    place: Place | None = None,
    restraint: str | None = None,
    limit: int = 10,
) -> RestraintSearch:
    """Find the settings for a worksite of a scenario file, those with which the arm reaches it from its base first.

    The arm flies the way in too, as ``stations`` has it do.

    Raises:
        InputError: a file that cannot be used, or as find_settings.
        FrameError: as find_settings.
    """
    from armcarry.files.load import load_scenario
    from armcarry.scene.build import build_scene

    scene = build_scene(load_scenario(Path(scenario)))
    most = max(limit, LOOKED_AT)
    found = find_settings(scene, worksite, crew=crew, place=place, restraint=restraint, limit=most)
    on_arm = scene.restraint_on_arm(scene.tree) == RESTRAINT and restraint in (None, RESTRAINT)
    if on_arm and found.place == "stand":
        return _by_arm(scene, found, limit)
    return replace(found, choices=found.choices[:limit])


def _by_arm(scene: Scene, found: RestraintSearch, limit: int) -> RestraintSearch:
    """Return a search with what the arm makes of each choice, until enough are reached; those go first."""
    script = scene.loaded.scenario.base
    base = Base(script.mount, float("nan") if script.station is None else script.station)
    reached, others = list[RestraintChoice](), list[RestraintChoice]()
    known: dict[tuple[tuple[str, float], ...], Reached] = {}
    like: Trial | None = None
    for choice in found.choices:
        key = tuple(sorted(choice.settings.items()))
        if key not in known:
            like = Trial(scene, base, choice.settings, like)
            known[key] = like.reach(found.worksite)
        arm = known[key]
        words = f"reaches it, {arm.clearance_m:.2f} m to spare" if arm.good else arm.why
        (reached if arm.good else others).append(replace(choice, arm=words))
        if len(reached) == limit:
            break
    return replace(found, choices=(*reached, *others)[:limit])


@dataclass(frozen=True, eq=False)
class _Reach:
    """Margins of every placement, posture and work point (K, P, W), metres."""

    one_hand_m: Array
    two_hand_m: Array
    hand_m: Array
    sight_m: Array
    least_m: Array  # (K, P)

    @staticmethod
    def of(stance: Stance, points_m: Array, envelope: ReachEnvelope, document: CrewDocument, hands: Hands) -> _Reach:
        # points (K, 1, W, 3) in the plate against frames (P, 1, ...) in the plate
        local = poses.apply(poses.inverse(stance.T_world_plate)[:, None], points_m)[:, None]
        margins = hand_margins(envelope, stance.chest[:, None], stance.shoulders_m[:, None], local)
        sight = sight_margin_m(stance.visor[:, None], local, document.view_half_angle)
        hand = margins.two_hand_m if hands == "two" else margins.one_hand_m
        return _Reach(margins.one_hand_m, margins.two_hand_m, hand, sight, np.minimum(hand, sight).min(axis=-1))


class _Search:
    """Goes through what is in reach and in view from the best on, measuring clearance only as far as needed."""

    def __init__(self, stance: Stance, reach: _Reach, names: tuple[str, ...], clearance_m: float) -> None:
        self.stance, self.reach, self.names, self.required_m = stance, reach, names, clearance_m
        steps = stance.detents.steps[:, None] + np.abs(stance.turns)
        self.steps = np.repeat(steps.reshape(-1, 1), len(stance.postures), axis=1)
        self.measured = self.too_close = 0
        self.refused_by: Counter[int] = Counter()

    @property
    def in_the_way(self) -> tuple[str, ...]:
        """The two bodies that refuse most often, of those measured; empty where nothing is refused."""
        if not self.refused_by:
            return ()
        pair = min(self.refused_by, key=lambda row: (-self.refused_by[row], row))
        return tuple(self.stance.names[k] for k in self.stance.pairs[pair])

    @property
    def nearest_miss(self) -> RestraintChoice:
        """The best placement and posture before clearance is looked at."""
        row = int(np.lexsort((self.steps.ravel(), -_ranked(self.reach.least_m.ravel())))[0])
        return self._choice(row, np.inf, -1)

    def best(self, limit: int, once: bool) -> tuple[RestraintChoice, ...]:
        """Return the choices with the widest margin, best first, at most ``limit``.

        With ``once``, of settings that come to the same (the worker stands the same, with the same margins to the
        millimetre) the one with the fewest steps stands for all.
        """
        bound, steps = _ranked(self.reach.least_m.ravel()), self.steps.ravel()
        rows = np.flatnonzero(self.reach.least_m.ravel() >= 0)
        rows = rows[np.lexsort((rows, steps[rows], -bound[rows]))]
        found: list[tuple[tuple[int, int, int], float, int]] = []  # (-rank, steps, row), clearance, pair
        for first in range(0, len(rows), _BATCH):
            batch = rows[first : first + _BATCH]
            # no later one can be better than the first of this batch would be without any obstacle
            if len(found) >= limit and found[limit - 1][0] <= (-int(bound[batch[0]]), int(steps[batch[0]]), -1):
                break
            alike: dict[tuple[Any, ...], tuple[tuple[int, int, int], float, int]] = {}
            for item in sorted([*found, *self._clear(batch, steps)], key=lambda item: item[0]):
                alike.setdefault(self._outcome(*item) if once else item[0], item)
            found = list(alike.values())[:limit]
        return tuple(self._choice(key[2], clearance, pair) for key, clearance, pair in found)

    def _outcome(self, key: tuple[int, int, int], clearance_m: float, pair: int) -> tuple[Any, ...]:
        """Return what a choice comes to, the same for settings that nobody can tell apart by it."""
        placement, posture = divmod(key[2], len(self.stance.postures))
        where = (np.round(self.stance.T_stand_plate[placement], 6) + 0.0).tobytes()
        reach = (margins[placement, posture].min() for margins in (self.reach.hand_m, self.reach.sight_m))
        return (posture, where, key[0], pair, *_ranked(np.minimum([*reach, clearance_m], 1e3)).tolist())

    def _clear(self, rows: np.ndarray, steps: np.ndarray) -> list[tuple[tuple[int, int, int], float, int]]:
        placement, posture = np.divmod(rows, len(self.stance.postures))
        least = self.reach.least_m.ravel()[rows]
        found = least_distances(
            self.stance.shapes, self.stance.moving(placement, posture), self.stance.standing, self.stance.pairs,
            least + self.required_m, self.required_m,
        )
        clear = found.lower_m >= self.required_m
        self.measured += len(rows)
        self.too_close += int((~clear).sum())
        self.refused_by.update(found.pair[~clear].tolist())
        rank = _ranked(np.minimum(least, found.lower_m - self.required_m))
        return [
            ((-int(rank[k]), int(steps[rows[k]]), int(rows[k])), float(found.lower_m[k]), int(found.pair[k]))
            for k in np.flatnonzero(clear)
        ]

    def _choice(self, row: int, clearance_m: float, pair: int) -> RestraintChoice:
        stance, reach = self.stance, self.reach
        placement, posture = divmod(row, len(stance.postures))
        setting, turn = divmod(placement, len(stance.turns))
        at = (placement, posture)
        points = tuple(
            PointMargin(name, *map(float, margins))
            for name, *margins in zip(
                self.names, reach.one_hand_m[at], reach.two_hand_m[at], reach.sight_m[at], strict=True
            )
        )
        detents = stance.detents
        return RestraintChoice(
            settings=dict(zip(detents.names, detents.angles_rad[setting].tolist(), strict=True)),
            detents=dict(zip(detents.names, detents.counts[setting].tolist(), strict=True)),
            turn_count=int(stance.turns[turn]),
            posture=stance.postures[posture],
            margin_m=min(float(reach.least_m[at]), clearance_m - self.required_m),
            reach_m=float(reach.hand_m[at].min()),
            sight_m=float(reach.sight_m[at].min()),
            clearance_m=clearance_m,
            nearest=() if pair < 0 else tuple(stance.names[k] for k in stance.pairs[pair]),
            points=points,
            T_stand_plate=stance.T_stand_plate[placement],
            T_world_mount=stance.T_world_mount[placement],
        )


def _ranked(margin_m: Array) -> np.ndarray:
    """Return margins (...) as whole steps of RANK_M, rounded down; overlap as 1 km."""
    return np.floor(np.maximum(margin_m, -1e3) / RANK_M + 1e-9).astype(np.int64)
