"""Proven clearance against sampling and against an adaptive search, at equal assurance, on one core.

What is compared, all pairs of a carry, least distance of each to 1 mm:

- ours: ``Prover.bounds`` after the prover was made, kernels loaded; every pair, none left out by distance.
- dense, pinocchio and coal: no instant more than 1 mm of travel from a sample. Step 2 mm / largest sampled speed
  of any body's farthest point, and, kinder, a sample every 2 mm of travel so that holds cost nothing. Cost of one
  configuration (a subset is timed, results are not read out) times the number of samples. Speeds are sampled,
  so these counts are below what a proof would need.
- dense, pybullet: the same counts, getClosestPoints pair by pair. It is not exact to 1 mm, so its assurance is less.
- hpp-core, for the yes-or-no question alone, do straight joint moves keep all bodies apart: its two continuous
  validations (a path is cut until bounds of the bodies' speeds prove it free), C++ over pinocchio and coal, beside
  ``least_margins`` asked for a millimetre and given up at the first pair that has less.
- strong peer: an adaptive search that asks coal only the pairs still open in each cell of time, splits by travel
  and starts from the same instants. It is handed sampled displacements of every body, smaller than any proof and
  not charged for: its figure is a lower estimate and its answer no proof.
"""

import time
from itertools import pairwise

import numpy as np
import pytest

from armcarry.clearance import Prover, clearance_curve
from armcarry.clearance.many import Arcs, least_margins
from armcarry.clearance.second_opinion import present
from armcarry.geometry.shapes import half_extents_m
from armcarry.motion.forward import forward
from asking_hpp import ask

pytestmark = pytest.mark.bench
STEP_M, TOLERANCE_M = 2e-3, 1e-3


def fastest(call, times=5):
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def prover_time(tree, motion, pairs, report_m=np.inf):
    prover = Prover(tree, pairs)
    prover.bounds(motion, report_distance_m=report_m)
    return fastest(lambda: prover.bounds(motion, report_distance_m=report_m), 7)


class Sampled:
    """Corner points of every body along the run, finely sampled."""

    def __init__(self, tree, motion, count=20_001):
        self.times = np.linspace(motion.start_s, motion.end_s, count)
        links, offsets = [body.link for body in tree.bodies], np.stack([body.pose for body in tree.bodies])
        corners = []
        for body in tree.bodies:
            low, high = half_extents_m(body.shape)
            grid = np.stack(np.meshgrid(*zip(low, high, strict=True), indexing="ij"), axis=-1).reshape(-1, 3)
            corners.append(np.hstack([grid, np.ones((8, 1))]).T)
        rests = np.array([not np.any(tree.columns[list(tree.ancestry(link))] >= 0) for link in links])
        self.moving = np.flatnonzero(~rests)
        at = self.moving
        points = []
        for part in np.array_split(self.times, 20):
            poses = forward(tree, motion.at(part), [links[k] for k in at]) @ offsets[at]
            points.append((poses @ np.stack([corners[k] for k in at]))[..., :3, :])
        self.points = np.concatenate(points)  # (T, bodies, 3, 8)
        moved = np.linalg.norm(np.diff(self.points, axis=0), axis=2).max(axis=(1, 2))
        self.travel = np.concatenate([[0.0], np.cumsum(moved)])
        self.speed = moved.max() / (self.times[1] - self.times[0])
        self.bodies = len(tree.bodies)

    def displacement(self, first, last, middle):
        """Return how far each body's corners get from where they are at ``middle`` (sample numbers)."""
        far = np.zeros(self.bodies)
        some = np.unique(np.linspace(first, last, 33).astype(int))
        gap = np.linalg.norm(self.points[some] - self.points[middle], axis=2).max(axis=(0, 2))
        far[self.moving] = gap
        return far


def dense_counts(sampled, motion):
    even = int(np.ceil(motion.duration_s / (STEP_M / sampled.speed)))
    return even, int(np.ceil(sampled.travel[-1] / STEP_M))


def coal_cost(engine, motion, count=200):
    q = motion.at(np.linspace(motion.start_s, motion.end_s, count))
    return fastest(lambda: [engine.measure(row) for row in q], 2) / count


def bullet_cost(tree, motion, pairs, count=2):
    from armcarry.clearance.second_opinion import _bullet_body, bullet_client, silence
    from armcarry.geometry.poses import quaternion_wxyz

    bullet, client = bullet_client()
    offsets, links = np.stack([body.pose for body in tree.bodies]), [body.link for body in tree.bodies]
    with silence():
        made = [_bullet_body(bullet, client, body.shape, np.eye(4)) for body in tree.bodies]
    poses = forward(tree, motion.at(np.linspace(motion.start_s, motion.end_s, count)), links) @ offsets
    turns = quaternion_wxyz(poses)[..., [1, 2, 3, 0]].tolist()
    places = poses[..., :3, 3].tolist()
    mine = [(made[a], made[b]) for a, b in pairs.tolist()]
    start = time.perf_counter()
    for turn, place in zip(turns, places, strict=True):
        for body, where, how in zip(made, place, turn, strict=True):
            bullet.resetBasePositionAndOrientation(body, where, how, physicsClientId=client)
        for a, b in mine:
            bullet.getClosestPoints(a, b, 100.0, physicsClientId=client)
    seconds = (time.perf_counter() - start) / count
    for body in made:
        bullet.removeBody(body, physicsClientId=client)
    return seconds


def adaptive_search(engine, sampled, motion, pairs, roots=64):
    """Return seconds spent asking coal, the number of questions, and the least distance found of each pair."""
    upper, asked, seconds = np.full(len(pairs), np.inf), 0, 0.0
    ends = np.searchsorted(sampled.travel, np.linspace(0.0, sampled.travel[-1], roots + 1))
    ends = ends.clip(0, len(sampled.times) - 1).tolist()
    cells = [(a, b, np.arange(len(pairs))) for a, b in pairwise(ends) if b > a]
    while cells:  # level by level, so that all of a level share the best bounds of the level above
        found = []
        for first, last, still in cells:
            middle = int(np.searchsorted(sampled.travel, (sampled.travel[first] + sampled.travel[last]) / 2))
            q = motion.at(sampled.times[middle])
            start = time.perf_counter()
            values = engine.some_distances(q, still.tolist())
            seconds += time.perf_counter() - start
            asked += len(still)
            upper[still] = np.minimum(upper[still], values)
            found.append((first, last, middle, still, values))
        cells = []
        for first, last, middle, still, values in found:
            if not first < middle < last:
                continue
            far = sampled.displacement(first, last, middle)[pairs[still]].sum(axis=1)
            # bodies that were seen to touch are asked no more
            still = still[(values - far < upper[still] - TOLERANCE_M) & (upper[still] > 0.0)]
            if len(still):
                cells += [(first, middle, still), (middle, last, still)]
    return seconds, asked, upper


def print_rows(capsys, title, rows):
    with capsys.disabled():
        print(f"\n  {title}")
        for name, value in rows:
            print(f"  {name:62s} {value}")


def straight(tree, moves):
    """Return moves (M, 2, n) as arcs."""
    table = np.stack([moves[:, 0], moves[:, 1] - moves[:, 0]], axis=1)[:, None]
    count, joints = len(moves), len(tree.joints)
    return Arcs(
        tree.joints, np.ascontiguousarray(moves[:, 0]), np.tile([0.0, 1.0], (count, 1)), np.ascontiguousarray(table),
        np.ones(count), np.zeros((count, joints)),
    )  # fmt: skip


def stops_of(motion):
    """Return the joint vectors at which a motion rests, one after another."""
    found = []
    for time_s in motion.breaks_s:
        q = motion.at(time_s)
        if np.abs(motion.at(time_s, 1)).max() < 1e-9 and (not found or np.abs(q - found[-1]).max() > 1e-6):
            found.append(q)
    return np.array(found)


def test_yes_or_no_against_continuous_validation(capsys, carry_of, tmp_path):
    """Both answer alike save where bodies come within the millimetre that one asks and the other may overlap."""
    tree, motion, pairs = carry_of()
    stops = stops_of(motion)
    rng = np.random.default_rng(3)
    random = stops[0] + rng.uniform(-1.2, 1.2, (300, 2, len(tree.joints)))
    prover, asked = Prover(tree, pairs), np.full(len(pairs), 1e-3)
    rows = [("pairs", f"{len(pairs)}")]
    for name, moves in (("moves of the carry", np.stack([stops[:-1], stops[1:]], axis=1)), ("random moves", random)):
        arcs = straight(tree, moves)
        ours = lambda: least_margins(prover, arcs, asked, tolerance_m=1e-3, enough_m=1e-3, give_up_m=0.0)  # noqa: B023, E731
        free = ours().lower_m >= 0.0
        took = fastest(ours, 7)
        rows.append((f"{len(moves)} {name}, {free.sum()} free", f"{took * 1e3:8.1f} ms"))
        theirs = ask(tree, pairs, moves, tmp_path)
        if theirs is None:
            rows.append(("hpp-core", "absent"))
            continue
        for how in ("Progressive", "Dichotomy"):
            seconds, alike = theirs[how]["seconds"], int((np.array(theirs[how]["free"]) == free).sum())
            rows.append((f"  hpp-core, {how}, {alike} alike", f"{seconds * 1e3:8.1f} ms {seconds / took:8.1f} x"))
            assert alike >= 0.99 * len(moves)
    print_rows(capsys, "do straight joint moves keep all bodies apart, one core", rows)


def test_synthetic_carry_against_sampling_and_a_strong_peer(capsys, carry_of, pinocchio_engine):
    tree, motion, pairs = carry_of()
    sampled = Sampled(tree, motion)
    ours, near = prover_time(tree, motion, pairs), prover_time(tree, motion, pairs, 3.0)
    engine = pinocchio_engine(tree, pairs, tolerance=1e-6)
    counts = dict(zip(("even steps", "steps of travel"), dense_counts(sampled, motion), strict=True))
    coal, bullet = coal_cost(engine, motion), None
    if present("pybullet"):
        bullet = bullet_cost(tree, motion, pairs)
    peer, asked, upper = adaptive_search(engine, sampled, motion, pairs)
    bounds = Prover(tree, pairs).bounds(motion, report_distance_m=np.inf)
    assert np.all(bounds.lower_m <= upper + 1e-4)  # coal is asked at its default tolerance of 1e-6 here
    still = len(tree.bodies) - len(sampled.moving)
    rows = [
        ("bodies that move, stand still; pairs", f"{len(sampled.moving)}, {still}; {len(pairs)}"),
        ("run; fastest sampled point", f"{motion.duration_s:.0f} s; {sampled.speed:.3f} m/s"),
        ("ours, all pairs to 1 mm", f"{ours * 1e3:8.1f} ms, {bounds.measured} distances"),
        ("ours, to 1 mm below 3 m", f"{near * 1e3:8.1f} ms"),
        (f"adaptive over coal, {asked} distances, open pairs only", f"{peer:8.1f} s {peer / ours:8.0f} x"),
    ]
    for engine_name, cost in (("pinocchio + coal", coal), ("pybullet", bullet)):
        for how, count in counts.items():
            text = "absent" if cost is None else f"{cost * count:8.1f} s {cost * count / ours:8.0f} x"
            rows.append((f"{engine_name}, {count} samples, {how}", text))
    print_rows(capsys, "synthetic carry, one core", rows)
    assert coal * counts["even steps"] / ours > 600.0
    assert peer / ours > 25.0
    assert bullet is None or bullet * counts["even steps"] / ours > 6000.0


def test_demo_carry(capsys, demo):
    total = {np.inf: 0.0, 3.0: 0.0}
    curve = 0.0
    for tree, motion, pairs in demo:
        for report_m in total:
            total[report_m] += prover_time(tree, motion, pairs, report_m)
        prover = Prover(tree, pairs)
        groups = np.arange(len(pairs)) % 6
        ask = lambda: clearance_curve(tree, motion, prover, groups=groups, cells=80, report_distance_m=3.0)  # noqa: B023, E731
        ask()
        curve += fastest(ask, 3)
    count = sum(len(pairs) for *_, pairs in demo)
    print_rows(capsys, "demo carry, one core, sum over phases", [
        ("phases; pairs in all", f"{len(demo)}; {count}"),
        ("all pairs to 1 mm", f"{total[np.inf] * 1e3:8.1f} ms, {total[np.inf] / count * 1e6:.1f} us a pair"),
        ("to 1 mm below 3 m", f"{total[3.0] * 1e3:8.1f} ms, {total[3.0] / count * 1e6:.1f} us a pair"),
        ("curve of 6 groups over 240 cells, band 20 mm", f"{curve * 1e3:8.1f} ms"),
    ])  # fmt: skip


def test_demo_carry_against_sampling_and_a_strong_peer(capsys, demo, pinocchio_engine):
    ours = peer = 0.0
    asked = pair_count = 0
    dense = {(name, how): 0.0 for name in ("pinocchio + coal", "pybullet") for how in ("even steps", "steps of travel")}
    samples = dict.fromkeys(("even steps", "steps of travel"), 0)
    for tree, motion, pairs in demo:
        sampled = Sampled(tree, motion, 10_001)
        ours += prover_time(tree, motion, pairs)
        engine = pinocchio_engine(tree, pairs, tolerance=1e-6)
        costs = {"pinocchio + coal": coal_cost(engine, motion, 40)}
        costs["pybullet"] = bullet_cost(tree, motion, pairs) if present("pybullet") else np.nan
        for how, count in zip(samples, dense_counts(sampled, motion), strict=True):
            samples[how] += count
            for name, cost in costs.items():
                dense[name, how] += cost * count
        seconds, questions, upper = adaptive_search(engine, sampled, motion, pairs)
        peer, asked, pair_count = peer + seconds, asked + questions, pair_count + len(pairs)
        bounds = Prover(tree, pairs).bounds(motion, report_distance_m=np.inf)
        assert np.all(bounds.lower_m <= upper + 1e-4)  # coal is asked at its default tolerance of 1e-6 here
    rows = [
        ("phases; pairs in all", f"{len(demo)}; {pair_count}"),
        ("ours, all pairs to 1 mm", f"{ours * 1e3:8.1f} ms"),
        (f"adaptive over coal, {asked} distances, open pairs only", f"{peer:8.1f} s {peer / ours:8.0f} x"),
    ]
    rows += [
        (f"{name}, {samples[how]} samples, {how}", f"{seconds:8.1f} s {seconds / ours:8.0f} x")
        for (name, how), seconds in dense.items()
    ]
    print_rows(capsys, "demo carry, one core, sum over phases", rows)
    assert dense["pinocchio + coal", "even steps"] / ours > 600.0
    assert peer / ours > 25.0


def test_growth_with_bodies_and_with_run_length(capsys, carry_of):
    rows, base = [], None
    sizes = [(f"still bodies x{factor}", {"still": 239 * factor}) for factor in (1, 2, 4, 8)]
    sizes += [(f"run x{factor}", {"segments": 21 * factor, "duration_s": 1725.0 * factor}) for factor in (2, 4)]
    for name, size in sizes:
        tree, motion, pairs = carry_of(**size)
        took = np.array([prover_time(tree, motion, pairs, report_m) for report_m in (np.inf, 3.0)])
        base = took if base is None else base
        cells = [f"{seconds * 1e3:7.1f} ms (x{seconds / least:.1f})" for seconds, least in zip(took, base, strict=True)]
        what = f"{name}: {len(pairs)} pairs, {motion.duration_s:.0f} s"
        rows.append((what, f"all {cells[0]}, below 3 m {cells[1]}"))
    print_rows(capsys, "growth", rows)
