"""Where a walking worker's body goes: into the open, not into what stands beside the rail."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armcarry.clearance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box, Capsule, Sphere
from armcarry.timeline.sides import Surroundings, choose_sides

GRIP, HEAD_M = np.array([0.5, 0.0, 1.8]), 1.65


def around(*boxes):
    bodies = tuple(Body(f"b{k}", "x/y", Box(size), poses.identity()) for k, (size, _) in enumerate(boxes))
    frames = np.stack([poses.translation(middle) for _, middle in boxes])
    return Surroundings(bodies, frames, GRIP, HEAD_M)


FLOOR = ((40.0, 4.0, 2.0), (0.0, 0.0, -1.2))  # its top is 0.2 m below the rails
WALL = ((40.0, 2.0, 4.0), (0.0, -1.3, 1.0))


def body_axis(turn, point, share):
    """Point of the body's middle line, from the soles (0) to the head (1)."""
    return point + turn @ (np.array([0.0, 0.0, 0.1 + share * (HEAD_M - 0.2)]) - GRIP)


def test_the_body_stays_over_the_floor_and_off_the_wall():
    points = np.array([[-5.0, 0, 0], [5.0, 0, 0]])
    turn = choose_sides(points, around(FLOOR))[0]
    assert all(body_axis(turn, points[0], share)[2] > 0.15 for share in (0, 0.5, 1))
    turn = choose_sides(points, around(FLOOR, WALL))[0]
    for share in (0, 0.5, 1):
        where = body_axis(turn, points[0], share)
        assert where[2] > 0.15
        assert where[1] > 0.05


def test_a_corner_is_turned_in_the_open():
    points = np.array([[-3.0, 0, 0], [0.0, 0, 0], [0.0, 0, 3.0]])  # along the floor, then up
    surroundings = around(FLOOR)
    turns = choose_sides(points, surroundings)
    places = [(turns[k], points[k] + s * (points[k + 1] - points[k])) for k in (0, 1) for s in (0.0, 0.5, 1.0)]
    lacking = surroundings.lacking_m(np.stack([t for t, _ in places]), np.stack([p for _, p in places]))
    assert lacking.max() < 0.65  # nowhere in contact
    head_first = np.stack([np.column_stack([(-1.0, 0, 0), (0, -1.0, 0), (0, 0, 1.0)])])
    assert surroundings.lacking_m(head_first, points[1:2])[0] > 1.0  # trailing down the floor it would be


def test_with_nothing_about_any_side_will_do_and_ends_decide():
    points = np.array([[0.0, 0, 0], [4.0, 0, 0]])
    far = around(((1.0, 1.0, 1.0), (0.0, 0.0, 100.0)))
    before = poses.from_xyz_rpy((0, 0, 0), (0.3, 0.1, 0.4))[:3, :3]
    turn = choose_sides(points, far, before, before)[0]
    trailing = choose_sides(points, far)[0]  # any rotation the search may take, spun and tilted about the leg
    spins = poses.rotation_about((1.0, 0.0, 0.0), np.arange(8) * np.pi / 4)[:, :3, :3]

    def angle(a, b):
        return np.arccos(np.clip((np.trace(a.T @ b) - 1) / 2, -1, 1))

    assert angle(before, turn) <= min(angle(before, spin @ trailing) for spin in spins) + 1e-9


def test_gloves_that_would_meet_what_stands_beside_the_rail_hold_on_one_behind_the_other():
    points, apart = np.array([[-2.0, 0, 0], [2.0, 0, 0]]), np.array([0.0, 0.5, 0.0])
    gloves = np.stack([poses.translation(GRIP + share * apart) for share in (-0.5, 0.5)])
    ledges = [((6.0, 0.1, 0.1), (0.0, y, 0.0)) for y in (-0.28, 0.28)]
    plain = around(FLOOR, *ledges)
    held = replace(plain, parts=(Sphere(0.1),) * 2, parts_at=gloves, asked_m=np.zeros((2, 3)), certain=np.ones(3, bool))
    may_touch = replace(held, asked_m=np.full((2, 3), np.nan))
    along = [abs((choose_sides(points, one)[0] @ apart)[0]) for one in (plain, may_touch, held)]
    np.testing.assert_allclose(along, [0.0, 0.0, 0.5], atol=1e-9)
    assert held.asked_lack_m(choose_sides(points, held), points[:1])[0] == 0.0


def test_the_body_keeps_what_is_asked_of_it_all_along_whatever_room_it_has_elsewhere():
    points = np.array([[-2.0, 0, 0], [2.0, 0, 0]])
    sheet = ((0.1, 2.0, 1.0), (1.2, 0.0, 1.5))  # over the rail, between where the room is looked at
    plain = around(FLOOR, WALL, sheet)
    middle = poses.translation((0.0, 0.0, HEAD_M / 2))[None]
    asked = np.array([[0.0, 0.0, 0.6]])
    held = replace(plain, parts=(Sphere(0.5),), parts_at=middle, asked_m=asked, certain=np.ones(3, bool))
    lacking = [
        held.asked_lack_m(np.tile(choose_sides(points, one), (40, 1, 1)), np.linspace(*points, 40)).max()
        for one in (plain, held)
    ]
    assert lacking[1] < lacking[0]


def test_less_than_is_asked_weighs_more_beside_what_stands_there_for_certain():
    points = np.array([[-2.0, 0, 0], [2.0, 0, 0]])
    part = {"parts": (Sphere(0.1),), "parts_at": poses.identity(1), "asked_m": np.full((1, 1), 0.5)}
    low = around(((40.0, 4.0, 0.2), (0.0, 0.0, -0.9)))
    boots = np.column_stack([(0.0, 0, 1), (0.0, 1, 0), (-1.0, 0, 0)])[None]
    held = [replace(low, **part, certain=np.array([sure])) for sure in (False, True)]
    lacks = [one.asked_lack_m(boots, points[:1])[0] for one in held]
    assert lacks[1] - lacks[0] == pytest.approx(0.5)
    assert 0.0 < lacks[0] < 0.5


@pytest.mark.parametrize("seed", range(3))
def test_rotations_are_rotations(seed):
    points = np.random.default_rng(seed).uniform(-3, 3, (5, 3))
    turns = choose_sides(points, around(FLOOR))
    assert np.allclose(turns @ turns.transpose(0, 2, 1), np.eye(3), atol=1e-9)
    assert np.allclose(np.linalg.det(turns), 1.0)


def turned(rng, count):
    q = rng.normal(size=(count, 4))
    return poses.from_quaternion_wxyz(q / np.linalg.norm(q, axis=1, keepdims=True))


def lacking_of_all(surroundings, shapes, at, wanted, turns, points, contact_m, breach_m=0.0):
    """What is missing (N,), every part held against every body."""
    boots = poses.identity(len(points))
    boots[:, :3, :3], boots[:, :3, 3] = turns, points - turns @ GRIP
    every = [*shapes, *(body.shape for body in surroundings.bodies)]
    frames = np.broadcast_to(surroundings.frames, (len(points), *surroundings.frames.shape))
    pairs = np.array([(s, len(shapes) + b) for s, b in np.argwhere(~np.isnan(wanted)).tolist()])
    room = distances(every, np.concatenate([boots[:, None] @ at, frames], axis=1), pairs).lower_m
    asked = wanted[~np.isnan(wanted)]
    missing = np.maximum(asked - room, 0.0) + np.where(room < asked - 0.05, breach_m, 0.0)
    return np.where(np.isinf(room), asked + contact_m, missing).max(axis=1, initial=0.0)


@pytest.mark.parametrize("seed", range(3))
def test_room_is_measured_as_to_everything_though_what_is_far_is_left_out(seed):
    rng = np.random.default_rng(seed)
    boxes = [(rng.uniform(0.1, 3.0, 3), rng.uniform(-6.0, 6.0, 3)) for _ in range(30)]
    plain = around(*boxes)
    parts, parts_at = (Sphere(0.3), Capsule(0.2, 0.8)), turned(rng, 2)
    parts_at[:, :3, 3] = rng.uniform(-0.5, 1.5, (2, 3))
    asked = rng.uniform(0.0, 0.6, (2, 30))
    asked[0, :10] = np.nan
    held = replace(plain, parts=parts, parts_at=parts_at, asked_m=asked, certain=np.ones(30, dtype=bool))
    turns, points = turned(rng, 200)[:, :3, :3], rng.uniform(-4.0, 4.0, (200, 3))
    body, middle = Capsule(0.4, HEAD_M - 0.05 - 0.4), poses.translation((0.0, 0.0, (HEAD_M + 0.05 - 0.4) / 2))[None]
    plainly = lacking_of_all(plain, (body,), middle, np.full((1, 30), 0.65), turns, points, 0.5)
    assert held.lacking_m(turns, points).tobytes() == plainly.tobytes()
    plainly = lacking_of_all(held, parts, parts_at, asked + 0.05, turns, points, 2.0, breach_m=0.5)
    assert held.asked_lack_m(turns, points).tobytes() == plainly.tobytes()
    assert 20 < np.count_nonzero(plainly) < 180
