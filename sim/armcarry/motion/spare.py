"""Every way of an arm whose six joints have a closed form: as it is, or with a spare joint swept over its travel.

With a spare joint the ways to take a pose are curves. They are walked by sweeping a joint without which the rest has
a closed form, closer where ways end; neighbours on them are found by nearness. So any other joint may be the one that
is pinned: its value is met where a curve passes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.closed_form import Shape, shape_of, ways
from armcarry.motion.redundancy import TURN, margin_cost, margin_share, pin, unwind
from armcarry.motion.vectors import across_of, wrapped

#: places of a swept joint over a whole turn, and between two of them where a way ends, once and again
_SWEPT, _CLOSER = 360, 12
#: neighbours on a curve differ by less than this in every joint, rad
_STEP_RAD = 0.6
#: where they differ by more it is looked closer, and where ways that are none come within this of being one
_FAST_RAD, _NEARLY = 0.2, 0.05
#: a joint that comes this near to its pinned value where it turns back may reach it, rad
_TOUCH_RAD = 0.05
#: a made-up sixth joint of an arm of five stands still to this, rad
_STILL_RAD = 1e-6


@dataclass(frozen=True, eq=False)
class Six:
    """Joints of a chain that have a closed form while the others stand still.

    Attributes:
        chain: the joints.
        columns: the five or six that are solved for.
        shape: of their axes, with the made-up one.
        made_up: where a sixth joint is made up for an arm of five: ``last``, ``first`` or nowhere.
    """

    chain: Chain
    columns: tuple[int, ...]
    shape: Shape
    made_up: str = ""

    def at(self, q: Array, T_base_tool: Array, tool: Array | None) -> tuple[Array, Array]:
        """Return the ways (S, 8, n) to take a pose with the other joints as in q (S, n), and what they lack (S, 8).

        Ways are nan, and lack more than 0, where there are fewer.
        """
        q = q.copy()
        q[:, self.columns] = 0.0
        axes, points, home = _axes(self.chain, self.columns, self.made_up, q, tool)
        found, lacking = ways(axes, points, T_base_tool @ poses.inverse(home), self.shape)
        if self.made_up:
            still = 0 if self.made_up == "first" else 5
            stands = np.abs(found[..., still : still + 1]) < _STILL_RAD
            found = np.where(stands, np.delete(found, still, axis=-1), np.nan)
        result = np.repeat(q[:, None], 8, axis=1)
        result[..., self.columns] = found
        return result, lacking


def six_of(chain: Chain, free: NDArray[np.bool_], q: Array) -> Six | None:
    """Return the closed form of the free joints (n,), the others as in every row of q (S, n); None without one."""
    columns = tuple(np.flatnonzero(free).tolist())
    if len(columns) not in (5, 6) or not chain.revolute[list(columns)].all():
        return None
    q = np.where(free, 0.0, q)
    for made_up in ("",) if len(columns) == 6 else ("last", "first"):
        axes, points, _ = _axes(chain, columns, made_up, q, None)
        shapes = {shape_of(*row) for row in zip(axes, points, strict=True)}
        shape = shapes.pop()
        if shape is not None and not shapes:
            return Six(chain, columns, shape, made_up)
    return None


def _axes(
    chain: Chain, columns: tuple[int, ...], made_up: str, q: Array, tool: Array | None
) -> tuple[Array, Array, Array]:
    """Return directions and points (S, 6, 3) of the axes, and where the tool is then (S, 4, 4)."""
    hats = chain.hats(q)
    some = np.swapaxes(hats[list(columns)], 0, 1)
    axes, points = some[..., 2], some[..., 3]
    if made_up == "last":
        axes = np.concatenate([axes, across_of(axes[:, -1:])], axis=1)
        points = np.concatenate([points, points[:, -1:]], axis=1)
    elif made_up == "first":
        axes = np.concatenate([across_of(axes[:, :1]), axes], axis=1)
        points = np.concatenate([points[:, :1], points], axis=1)
    return axes, points, chain.close(hats[-1], tool)


# -- the questions asked ---------------------------------------------------------------------------------


def every_way(
    chain: Chain, T_base_tool: Array, *, tool: Array | None = None, pinned: Mapping[str, float] | None = None
) -> Array | None:
    """Return the ways (k, n) an arm without a spare joint, or with it pinned, takes a pose, within its travel.

    Whole turns are taken out. None where no closed form tells: for such an arm none can be said to be all.
    """
    q = np.zeros((1, chain.size))
    free = pin(chain, q, pinned)
    six = six_of(chain, free, q)
    if six is not None:
        found = six.at(q, T_base_tool, tool)[0][0]
        return inside(chain, found[np.isfinite(found).all(axis=1)], ~free)
    for column in map(chain.column, pinned or {}):
        loose = free.copy()
        loose[column] = True
        # swept from both ends: where one passes a singular posture too fast to be seen, the other does not
        curves = [curve_of(chain, T_base_tool, tool, loose, q[0], last=last) for last in (False, True)]
        passing = [curve.passing(column, float(q[0, column])) for curve in curves if curve is not None]
        if passing:
            return inside(chain, np.concatenate(passing), ~free)
    return None


def inside(chain: Chain, q: Array, pinned: NDArray[np.bool_] | None = None) -> Array:
    """Return those of the joint vectors (S, n) that stand within travel, whole turns taken out of joints not pinned."""
    mild = unwind(chain, q)
    if pinned is not None:
        mild[:, pinned] = q[:, pinned]
    return np.asarray(mild[(chain.margins(mild) >= -1e-7).all(axis=1)])


@dataclass(frozen=True, eq=False)
class Curve:
    """The ways to take a pose with a spare joint, walked in steps.

    Attributes:
        six: what is solved at every step.
        swept: the joint that is swept.
        q: (S, 8, n) ways at every place of it, nan where there are fewer, whole turns taken out.
        after: (S, 8) which way at the next place carries on, -1 for none; the last place is before the first where
            the joint turns all the way round.
    """

    six: Six
    swept: int
    q: Array
    after: NDArray[np.int64]

    def edges(self) -> tuple[Array, Array]:
        """Return neighbours (E, n) and (E, n) on the curves, also where a curve turns back at the end of two ways."""
        row, way = np.nonzero(self.after >= 0)
        start, end = self.q[row, way], self.q[(row + 1) % len(self.q), self.after[row, way]]
        there = np.isfinite(self.q).all(axis=2)
        led = np.zeros_like(there)
        led[(row + 1) % len(self.q), self.after[row, way]] = True
        row, way = np.nonzero(there & ((self.after < 0) | ~led))
        same = row[:, None] == row
        np.fill_diagonal(same, False)
        ends = self.q[row, way]
        first, second = np.nonzero(np.triu(same))
        near = np.abs(wrapped(ends[first] - ends[second])).max(axis=1) < _STEP_RAD
        return np.concatenate([start, ends[first[near]]]), np.concatenate([end, ends[second[near]]])

    def passing(self, column: int, value: float) -> Array:
        """Return joint vectors (k, n) close to where a joint passes a value on the curves."""
        start, end = self.edges()
        before, after = wrapped(start[:, column] - value), wrapped(end[:, column] - value)
        passes = (before * after <= 0) & (np.abs(before - after) < np.pi / 2)
        share = np.where(passes, before / np.where(before == after, 1.0, before - after), 0.5)
        touches = np.minimum(np.abs(before), np.abs(after)) < _TOUCH_RAD
        near = passes | touches
        met = start[near] + share[near, None] * wrapped(end[near] - start[near])
        met[:, column] = value
        return np.asarray(met)

    def roomy(self) -> tuple[Array, Array]:
        """Return ways within travel (k, n) whose margin cost is least among neighbours, and (1, n) of widest margin."""
        chain = self.six.chain
        mild = unwind(chain, self.q)
        kept = np.isfinite(self.q).all(axis=2) & (chain.margins(mild) >= -1e-7).all(axis=2)
        if not kept.any():
            return np.zeros((0, chain.size)), np.zeros((0, chain.size))
        cost, share = np.full(kept.shape, np.inf), np.full(kept.shape, -np.inf)
        cost[kept], share[kept] = margin_cost(chain, mild[kept]), margin_share(chain, mild[kept])
        forward, back = np.full_like(cost, np.inf), np.full_like(cost, np.inf)
        row, way = np.nonzero(self.after >= 0)
        then = (row + 1) % len(self.q), self.after[row, way]
        forward[row, way], back[then] = cost[then], cost[row, way]
        least = kept & (cost <= forward) & (cost <= back)
        return mild[least], mild[np.unravel_index(share.argmax(), share.shape)][None]


def curve_of(
    chain: Chain, T_base_tool: Array, tool: Array | None, free: NDArray[np.bool_], q: Array, *, last: bool = False
) -> Curve | None:
    """Walk the ways to take a pose with seven free joints (n,), the others as in q (n,); None without a closed form.

    Swept is the first joint that leaves one, or the last.
    """
    if free.sum() != 7 or not chain.revolute[free].all():
        return None
    columns = np.flatnonzero(free)
    for swept in columns[::-1] if last else columns:
        two = np.repeat(q[None], 2, axis=0)
        two[:, swept] = 0.4, 1.1
        rest = free.copy()
        rest[swept] = False
        six = six_of(chain, rest, two)
        if six is not None:
            return _walked(six, int(swept), q, T_base_tool, tool)
    return None


def _walked(six: Six, swept: int, q: Array, T_base_tool: Array, tool: Array | None) -> Curve:
    low, high = six.chain.limits[swept]
    round_ = not high - low < TURN
    middle = six.chain.middle[swept]
    values = (
        middle + TURN * (np.arange(_SWEPT) / _SWEPT - 0.5)
        if round_
        else np.linspace(low, high, max(2, int(np.ceil((high - low) / TURN * _SWEPT)) + 1))
    )

    def at(places: Array) -> tuple[Array, Array]:
        vectors = np.repeat(q[None], len(places), axis=0)
        vectors[:, swept] = places
        return six.at(vectors, T_base_tool, tool)

    found, lacking = at(values)
    for _ in range(2):
        gaps = np.flatnonzero(_coarse(found, lacking, _followed(found, round_)))
        if not len(gaps):
            break
        share = np.arange(1, _CLOSER) / _CLOSER
        more = (values[gaps, None] + share * (values[gaps + 1] - values[gaps])[:, None]).ravel()
        order = np.argsort(np.concatenate([values, more]), kind="stable")
        closer, short = at(more)
        values = np.concatenate([values, more])[order]
        found, lacking = np.concatenate([found, closer])[order], np.concatenate([lacking, short])[order]
    return Curve(six, swept, found, _followed(found, round_))


def _coarse(q: Array, lacking: Array, after: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell between which places (S - 1,) to look closer: a way ends there, moves fast, or one may be there alone."""
    there = np.isfinite(q).all(axis=2)
    row, way = np.nonzero(after >= 0)
    then = (row + 1) % len(q)
    led = np.zeros_like(there)
    led[then, after[row, way]] = True
    ends = np.any((there & (after < 0))[:-1], axis=1) | np.any((there & ~led)[1:], axis=1)
    fast = np.zeros(len(q), dtype=bool)
    fast[row] |= np.abs(wrapped(q[row, way] - q[then, after[row, way]])).max(axis=1) > _FAST_RAD
    least = np.zeros_like(there)
    least[1:-1] = (lacking[1:-1] <= lacking[:-2]) & (lacking[1:-1] <= lacking[2:])
    alone: NDArray[np.bool_] = np.any(least & ~there & (lacking < _NEARLY), axis=1)
    return np.asarray(ends | fast[:-1] | alone[:-1] | alone[1:])


def _followed(q: Array, round_: bool) -> NDArray[np.int64]:
    """Return which way at the next place is nearest (S, 8), each the nearest of the other; -1 for none."""
    then = np.roll(q, -1, axis=0)
    apart = np.zeros((len(q), 8, 8))
    for k in range(q.shape[2]):
        np.maximum(apart, np.abs(wrapped(q[:, :, None, k] - then[:, None, :, k])), out=apart)
    apart = np.where(np.isnan(apart), np.inf, apart)
    onward, back = apart.argmin(axis=2), apart.argmin(axis=1)
    mutual = np.take_along_axis(back, onward, axis=1) == np.arange(8)
    near = np.take_along_axis(apart, onward[..., None], axis=2)[..., 0] < _STEP_RAD
    after = np.where(mutual & near, onward, -1)
    if not round_:
        after[-1] = -1
    return after
