"""Draws and what they do, against arithmetic and an engine that shares no code."""

import dataclasses

import numpy as np
import pytest

from armcarry.dispersion.influence import influence
from armcarry.dispersion.problem import make_problem, prove_runs
from armcarry.dispersion.terms import displacement, draw, drawn_numbers, moved
from armcarry.errors import InputError
from armcarry.geometry.poses import rotation_vector


def test_without_a_declared_dispersion_nothing_is_drawn(rider_scene):
    with pytest.raises(InputError, match="the rules declare no dispersion, so it is not known how runs differ"):
        drawn_numbers(rider_scene({}, sites=0))


def test_every_term_draws_its_numbers(record):
    numbers = drawn_numbers(record.scene)
    count = {term: sum(number.term == term for number in numbers) for term in {number.term for number in numbers}}
    assert count == {"bias": 6, "base": 6, "posts": 6, "booms": 6, "posture": 1, "late": 1, "tracking": 2}
    late = next(number for number in numbers if number.term == "late")
    assert late.targets == tuple(f"arm/j{k}" for k in range(1, 7))
    assert next(number for number in numbers if number.term == "posture").target == "ev1/hips"


def test_a_draw_depends_on_seed_and_run_alone_and_has_the_declared_spread(record):
    numbers = drawn_numbers(record.scene)
    drawn = np.array([draw(numbers, 5, run) for run in range(3000)])
    np.testing.assert_array_equal(drawn[17], draw(numbers, 5, 17))
    assert not np.any(drawn[0] == drawn[1])
    assert not np.any(drawn[0] == draw(numbers, 6, 0))
    most = np.array([number.most for number in numbers])
    assert np.all(np.abs(drawn) <= most)
    # cut at 3, a normal distribution keeps 0.98658 of its deviation; a uniform one has 1/sqrt 3 of its half-width
    shares = np.where([number.normal for number in numbers], 0.98658, 3**-0.5)
    amount = np.array([number.amount for number in numbers])
    np.testing.assert_allclose(drawn.std(axis=0) / amount, shares, rtol=0.05)
    np.testing.assert_allclose(drawn.mean(axis=0) / amount, 0.0, atol=0.07)


def test_a_late_joint_is_where_the_script_had_it(record):
    numbers = drawn_numbers(record.scene)
    values = np.array([{"late": 0.7, "tracking": -0.2}.get(number.term, 0.0) for number in numbers])
    values[[number.target == "arm/j3" and number.term == "tracking" for number in numbers]] = 0.1
    motion = moved(numbers, values, record.motion)
    times = np.linspace(0, 20, 331)
    for joint, lag in (("arm/j1", 0.5), ("arm/j3", 0.8), ("arm/j2", 0.7), ("ev1/hips", 0.0)):
        column = record.motion.columns_of([joint])[0]
        expected = record.motion.at(times - lag)[:, column]
        np.testing.assert_allclose(motion.at(times)[:, column], expected, atol=1e-12)


def test_an_offset_turns_one_joint_and_a_mount_moves_all_it_carries(record):
    numbers = drawn_numbers(record.scene)
    values = np.zeros(len(numbers))
    values[[number.name == "bias: arm/j2" for number in numbers]] = 0.01
    values[[number.name == "base: arm z" for number in numbers]] = 0.02
    motion = moved(numbers, values, record.motion)
    off = motion.at(3.0) - record.motion.at(3.0)
    assert off[record.motion.columns_of(["arm/j2"])[0]] == pytest.approx(0.01)
    assert np.count_nonzero(np.abs(off) > 1e-12) == 1
    tree, position = record.phases[0].tree, record.scene.position
    shifted = displacement(numbers, values).of(tree)
    for link in ("arm/tip", "ev1/visor"):
        by = shifted.pose_of(link, position)[:3, 3] - tree.pose_of(link, position)[:3, 3]
        np.testing.assert_allclose(by, (0, 0, 0.02), atol=1e-12)


@pytest.mark.parametrize(("part", "axis"), [("roll", 0), ("pitch", 1), ("yaw", 2)])
def test_a_draw_turns_about_the_axis_that_its_name_says(record, part, axis):
    numbers = drawn_numbers(record.scene)
    tree, position = record.phases[0].tree, record.scene.position
    values = np.array([0.01 * (number.name == f"base: arm {part}") for number in numbers])
    assert np.count_nonzero(values) == 1
    shifted = displacement(numbers, values).of(tree)
    turn = shifted.pose_of("arm/tip", position) @ np.linalg.inv(tree.pose_of("arm/tip", position))
    np.testing.assert_allclose(rotation_vector(turn), 0.01 * np.eye(3)[axis], atol=1e-9)


def test_no_draw_shifts_a_pair_beyond_its_bound(record, pinocchio_engine):
    tree, numbers = record.phases[0].tree, drawn_numbers(record.scene)
    names = [body.name for body in tree.bodies]
    pairs = np.array([(a, b) for a in range(len(names)) for b in range(a)])
    levers = influence(tree, record.motion, numbers)
    plain = pinocchio_engine(tree, pairs)
    largest = 0.0
    for run in range(12):
        values = draw(numbers, 3, run)
        true = pinocchio_engine(displacement(numbers, values).of(tree), pairs)
        motion, bound = moved(numbers, values, record.motion), levers.shifts_m(pairs, np.abs(values))
        for time in np.linspace(0, 20, 9):
            off = np.abs(_apart(true, motion.at(time)) - _apart(plain, record.motion.at(time)))
            assert np.all(off <= bound + 1e-6)
            largest = max(largest, float((off / np.maximum(bound, 1e-9)).max()))
    assert largest > 0.1  # the bound is a bound, not a wall


def test_proven_margins_agree_with_an_independent_engine(record, pinocchio_engine):
    problem = make_problem(record)
    assert problem.left_out > 0  # the wall is thirty metres away
    tree = record.phases[0].tree
    row_of = {body.name: k for k, body in enumerate(tree.bodies)}
    pairs = np.array([(row_of[pair.body_a], row_of[pair.body_b]) for pair in problem.watched])
    outcome = prove_runs(problem, 2, range(4))
    times = np.linspace(0, 20, 2001)
    for run in range(4):
        values = draw(problem.numbers, 2, run)
        np.testing.assert_array_equal(outcome.values[run], values)
        engine = pinocchio_engine(displacement(problem.numbers, values).of(tree), pairs)
        positions = moved(problem.numbers, values, record.motion).at(times)
        sampled = np.min([_apart(engine, q) for q in positions], axis=0) - [w.required_m for w in problem.watched]
        sampled = np.minimum(sampled, problem.watch_m)
        assert np.all(outcome.lower_m[run] <= sampled + 1e-5)
        assert np.all(outcome.upper_m[run] - outcome.lower_m[run] <= 1.01e-3)
        # at 0.5 m/s a sample is at most 2.5 mm beside the least
        np.testing.assert_allclose(outcome.lower_m[run], sampled, atol=4e-3)
    assert outcome.lower_m.min() < 1.0


def test_pairs_are_not_proven_again_only_where_no_draw_can_matter(record):
    everything = make_problem(record)
    windows = tuple(dataclasses.replace(w, nominal_m=np.full(len(w.pairs), -1.0)) for w in everything.windows)
    chosen = prove_runs(everything, 4, range(5))
    every = prove_runs(dataclasses.replace(everything, windows=windows), 4, range(5))
    np.testing.assert_allclose(chosen.lower_m, every.lower_m, atol=1e-3)


def _apart(engine, position):
    """Distances with overlap as 0, as the package has it."""
    return np.maximum(engine.distances(position), 0.0)
