"""Late stops and runaway joints of a short run, against faults drawn at random and flown in another way."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.clearance import distances
from armcarry.motion.braking import run_out, runaway
from armcarry.motion.forward import forward
from armcarry.scene.limits import runaway_rates
from armcarry.whatif.beside import beside
from armcarry.whatif.cells import ENOUGH_M
from armcarry.whatif.faults import Side, sides, windows, worst_rates
from armcarry.whatif.late_stop import run_outs
from armcarry.whatif.runaway_joint import runaways


def gaps(side, q):
    """Return distances (N, P) of the side's pairs at joint vectors (N, n)."""
    tree = side.phase.tree
    links = forward(tree, q, [body.link for body in tree.bodies])
    placed = links @ np.stack([body.pose for body in tree.bodies])
    return distances([body.shape for body in tree.bodies], placed, side.pairs).upper_m


def proven(parts, window, time_s, fault, own):
    """Return what a part of a window proves of one fault at an instant."""
    for part in parts:
        if part.window.start_s == window.start_s and part.own == own:
            leaves = part.leaves.take(np.flatnonzero(part.leaves.fault == fault))
            k = int(np.searchsorted(leaves.start_s, time_s, side="right")) - 1
            assert leaves.start_s[k] <= time_s <= leaves.end_s[k]
            return leaves.lower_m[k]
    raise AssertionError("no part")


def moving_instants(record, window, rng, count):
    times = rng.uniform(window.start_s, window.end_s, 20 * count)
    rates = np.abs(record.motion.at(times, 1)[:, record.scene.arm_columns]).max(axis=1)
    return times[np.argsort(-rates)][:count]


def integrated(record, side, time_s, fault=None, rate=0.0, detection_s=0.0, step_s=0.02):
    """Fly a fault in small steps: commanded until braking, a runaway joint on its own; return joint vectors."""
    columns = record.scene.arm_columns
    q = record.motion.at(time_s)
    vectors = [q.copy()]
    offset = 0.0
    for k in range(round(detection_s / step_s)):
        q = record.motion.at(min(time_s + (k + 1) * step_s, side.phase.end_s))
        if fault is not None:
            offset += rate * step_s
            q[columns[fault]] = record.motion.at(time_s)[columns[fault]] + offset
        vectors.append(q.copy())
    speed = record.motion.at(min(time_s + detection_s, side.phase.end_s), 1)[columns].copy()
    if fault is not None:
        speed[fault] = rate
    while np.any(speed != 0):
        slower = np.sign(speed) * np.maximum(np.abs(speed) - side.brakes * step_s, 0.0)
        q[columns] += (speed + slower) / 2 * step_s
        speed = slower
        vectors.append(q.copy())
    return np.array(vectors)


def test_run_outs_flown_at_random_keep_what_is_proven(short_run):
    record, _ = short_run
    rng = np.random.default_rng(0)
    found, flown = run_outs(record), 0
    for side in sides(record):
        for window in windows(side):
            for time in moving_instants(record, window, rng, 24):
                q = integrated(record, side, time)
                for own in (False, True):
                    left = (gaps(side, q) - window.asked_m(own)).min(axis=0)
                    assert np.nanmin(left) >= proven(found.parts, window, time, 0, own) - 2e-4
                flown += len(q) > 2
    assert flown > 10


def test_runaways_flown_at_random_at_any_rate_keep_what_is_proven(short_run):
    record, _ = short_run
    rng = np.random.default_rng(1)
    found = runaways(record)
    detection = record.scene.loaded.arm.document.detection_time
    tight = 0
    for side in sides(record):
        # of bodies with one joint between it is proven that they keep apart, not by how much
        apart = np.isin(np.arange(len(side.pairs)), [one.pair for one in beside(side)])
        for window in windows(side):
            for time in moving_instants(record, window, rng, 12):
                number = int(rng.integers(len(found.faults)))
                joint, sign = found.faults[number]
                part = next(p for p in found.parts if p.window.start_s == window.start_s)
                worst = worst_rates(side, np.array([part.near_at(time)]))[0, joint]
                q = integrated(record, side, time, joint, sign * worst * rng.choice([1.0, rng.random()]), detection)
                for own in (False, True):
                    spare = gaps(side, q) - window.asked_m(own)
                    left = np.nanmin(spare[:, ~apart])
                    # commanded motion goes on while undetected, so several instants may be what proves it
                    over = np.linspace(time, min(time + detection, window.end_s), 7)
                    least = min(
                        proven(found.parts, window, t, n, own)
                        for t in over for n in (number, number ^ 1)
                    )
                    assert left >= least - 2e-4
                    assert not own or np.nanmin(spare[:, apart]) >= min(least, 0.0) - 2e-4
                    tight += left < ENOUGH_M
    assert tight > 10


def test_the_safe_detection_time_is_safe_and_a_longer_one_is_not(short_run):
    record, _ = short_run
    found = runaways(record)
    limited = np.flatnonzero(np.isfinite(found.ends_s))
    assert len(limited)
    for number in limited:
        joint, sign = found.faults[number]
        time = found.ends_s[number]
        side = next(s for s in sides(record) if s.phase.start_s <= time <= s.phase.end_s)
        window = next(w for w in windows(side) if w.start_s <= time <= w.end_s)
        part = next(p for p in found.parts if p.window.start_s == window.start_s)
        rate, brake = worst_rates(side, np.array([part.near_at(time)]))[0, joint], side.brakes[joint]
        q = np.repeat(record.motion.at(time)[None], 200, axis=0)
        column = record.scene.arm_columns[joint]
        safe = found.safe_detection_s[number]
        q[:, column] += sign * np.linspace(0, runaway(rate, safe, brake).distance, 200)
        assert np.nanmin(gaps(side, q) - window.left_m) >= -2e-4
        q[:, column] += sign * np.linspace(0, runaway(rate, safe + 0.2, brake).distance, 200) - sign * np.linspace(
            0, runaway(rate, safe, brake).distance, 200
        )
        assert np.nanmin(gaps(side, q) - window.left_m) < 0


def test_the_tip_runs_out_as_far_and_long_as_its_joints_say(short_run):
    record, _ = short_run
    found = run_outs(record)
    arm = record.scene.loaded.arm.document
    columns = record.scene.arm_columns
    k = int(np.argmax(found.runout_m))
    assert found.runout_m[k] > 0.01
    side = next(s for s in sides(record) if s.phase.start_s <= found.time_s[k] <= s.phase.end_s)
    begun = min(found.time_s[k] + arm.reaction_time, side.phase.end_s)
    q = np.concatenate([
        record.motion.at(np.linspace(found.time_s[k], begun, 50)), integrated(record, side, begun, step_s=0.005)
    ])  # fmt: skip
    tip = forward(side.phase.tree, q, (record.scene.tool(side.phase.tree),))[:, 0, :3, 3]
    assert np.linalg.norm(np.diff(tip, axis=0), axis=1).sum() == pytest.approx(found.runout_m[k], rel=2e-3)
    rate = record.motion.at(begun, 1, side="left")[columns]
    assert found.runout_s[k] == pytest.approx(run_out(rate, side.brakes, arm.reaction_time).time_s.max())


def test_a_command_is_judged_by_the_run_outs_of_its_reaction_time(short_run):
    record, _ = short_run
    found = run_outs(record)
    reaction = record.scene.loaded.arm.document.reaction_time
    begun = [part for part in found.parts if not part.own]
    for k in range(0, len(found.lower_m), 7):
        first, last = found.cells_s[k], found.cells_s[k + 1] + reaction
        lows = [
            float(low) for part in begun
            for start, end, low in zip(part.leaves.start_s, part.leaves.end_s, part.leaves.lower_m, strict=True)
            if start < last and end > first
        ]  # fmt: skip
        assert found.lower_m[k] == pytest.approx(min(lows))


def test_working_memory_is_given_back_phase_by_phase(short_run):
    record, _ = short_run
    run_outs(record)
    runaways(record)
    assert sides(record)
    assert not any(side.prover._pools for side in sides(record))


def test_a_joint_runs_away_near_structure_at_the_rate_for_there(rider_scene, turning_record):
    record = turning_record(rider_scene({}))
    side = SimpleNamespace(record=record, load=Side.of(record, record.phases[0]).load.model_copy(
        update={"runaway_near": 0.5, "near_structure": 0.4}
    ))  # fmt: skip
    there, away = worst_rates(side, np.array([True, False]))
    arm = record.scene.loaded.arm.document
    np.testing.assert_array_equal(there, runaway_rates(arm, side.load, True))
    np.testing.assert_array_equal(away, runaway_rates(arm, side.load, False))
    assert np.all(there < away)
