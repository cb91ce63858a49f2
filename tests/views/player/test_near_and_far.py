"""The closest pair at every frame, margins of parts, the shell and the lanes, against the plain ways to find them."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from armcarry.asked.relaxed import Relaxed
from armcarry.clearance.distance import distance
from armcarry.geometry import poses
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere
from armcarry.quantities import rounded_down
from armcarry.views.closest import closest_track, judged
from armcarry.views.groups import rigid_groups
from armcarry.views.lanes import day_lanes, run_lanes
from armcarry.views.player.nearest import FAR_M, Closest
from armcarry.views.player.series import clearance_series, joint_series, rate_series
from armcarry.views.player.shell import grown, shells


def test_the_quick_search_finds_what_measuring_every_pair_finds(small_run):
    record, _ = small_run
    closest, times = Closest(record), np.linspace(0.0, 540.0, 60)
    track = closest_track(record, times)
    found = 0
    for k, time_s in enumerate(times):
        for parts in (False, True):
            near = closest.at(float(time_s), parts)
            if track.row[k] < 0:
                assert near.row is None
                continue
            found += 1
            assert near.row is record.pairs[track.row[k]]
            assert near.lower_m == pytest.approx(track.lower_m[k], abs=1e-5)
            assert np.linalg.norm(near.point_a - near.point_b) == pytest.approx(near.upper_m, abs=1e-5)
    assert found > 60


def test_margins_of_parts_are_those_of_their_closest_pairs(small_run):
    record, _ = small_run
    time_s = record.tightest.time_s
    near = Closest(record).at(time_s, parts=True)
    where = {body.name: k for k, body in enumerate(record.bodies)}
    pose = record.body_poses(time_s)[0]
    truth = {}
    for row in filter(judged, record.pairs):
        a, b = where[row.body_a], where[row.body_b]
        left = distance(record.bodies[a].shape, pose[a], record.bodies[b].shape, pose[b]).lower_m - row.required_m
        for k in (a, b):
            truth[k] = min(truth.get(k, np.inf), left)
    truth = {k: left for k, left in truth.items() if left < FAR_M}
    assert truth and set(near.margin_m) == set(truth)
    for k, left in truth.items():
        assert near.margin_m[k] == pytest.approx(left, abs=1e-5)


def test_nothing_is_near_without_pairs_or_outside_their_windows(small_run):
    record, _ = small_run
    assert Closest(replace(record, pairs=())).at(10.0).row is None
    early = tuple(replace(row, start_s=0.0, end_s=1.0) for row in record.pairs)
    near = Closest(replace(record, pairs=early)).at(300.0, parts=True)
    assert near.row is None and near.kept and near.margin_m == {}


CUBE = ConvexMesh.hull_of(np.array([[x, y, z] for x in (-1, 1) for y in (-0.5, 0.5) for z in (-0.3, 0.3)], dtype=float))


@pytest.mark.parametrize("shape", [Sphere(0.4), Capsule(0.2, 1.0), Box((1.0, 0.6, 0.4)), Cylinder(0.5, 0.8), CUBE])
def test_a_grown_shape_keeps_its_distance_on_every_side(shape):
    by_m, far = 0.5, 6.0
    bigger = grown(shape, by_m)
    rng = np.random.default_rng(7)
    for way in rng.normal(size=(40, 3)):
        point = poses.translation(far * way / np.linalg.norm(way))
        plain = distance(shape, np.eye(4), Sphere(0.0), point).upper_m
        left = distance(bigger, np.eye(4), Sphere(0.0), point).upper_m
        # from inside: never farther out than by_m, and nowhere more than 12 % of it short
        assert -1e-4 <= left - (plain - by_m) <= 0.12 * by_m


def test_the_shell_has_no_triangle_deep_inside_another_part(small_run):
    record, _ = small_run
    groups = rigid_groups(record)
    found = shells(record, groups)
    assert {groups[k].name.split("/")[0] for k in found} >= {"arm", "ev1"}
    for k, surface in found.items():
        assert groups[k].moves
        shapes = [record.bodies[row].shape for row in groups[k].bodies]
        for face in surface.faces[:: max(len(surface.faces) // 40, 1)]:
            middle = poses.translation(surface.vertices_m[face].mean(axis=0))
            corners = [poses.translation(surface.vertices_m[v]) for v in face]
            least = [
                min(distance(shape, local, Sphere(0.0), point).upper_m
                    for shape, local in zip(shapes, groups[k].local, strict=True))
                for point in (middle, *corners)
            ]
            assert max(least) > 0.9 * 0.3


def test_lanes_say_who_holds_what(small_run):
    record, _ = small_run
    lanes = {lane.name: lane.bars for lane in run_lanes(record).lanes}
    assert [bar.kind for bar in lanes["arm"]] == ["move", "still", "still", "move", "move", "still"]
    assert [(bar.start_s, bar.end_s, bar.words, bar.kind) for bar in lanes["pump box"]] == [
        (0.0, 75.0, "at rack seat", "parked"), (75.0, 540.0, "in the hands of ev1", "carried")]
    assert [bar.words for bar in lanes["ev1"]] == ["on the arm"]
    assert "Pump box in hand <now>" in lanes["arm"][1].more
    assert day_lanes(record) is None


def test_clearance_lines_hold_the_proven_band(small_run):
    record, _ = small_run
    series = clearance_series(record)
    left = [float(np.min(next(c for c in record.curves if c.group == s.name).lower_m)) - s.limits[0][1][0]
            for s in series]
    assert left == sorted(left)
    curve = next(c for c in record.curves if c.group == series[0].name)
    k = len(curve.lower_m) // 2
    middle = (curve.times_s[k] + curve.times_s[k + 1]) / 2
    inside = (series[0].times_s >= curve.times_s[k]) & (series[0].times_s <= curve.times_s[k + 1])
    assert np.min(series[0].values[inside]) <= max(curve.lower_m[k], 0)
    low, high = rounded_down(curve.lower_m[k], 2), -rounded_down(-curve.upper_m[k], 2)
    assert series[0].now(middle) in (f"{low:.2f} … {high:.2f}", "contact", "> 3")
    assert series[0].bad.any() == bool((curve.lower_m < curve.required_m).any())


def test_joint_lines_are_the_motion(small_run):
    record, _ = small_run
    positions, rates = joint_series(record), rate_series(record)
    column = record.scene.arm_columns[3]
    assert positions[3].name == "elbow" and positions[3].unit == "deg" and rates[3].unit == "deg/s"
    truth = np.degrees(record.motion.at(200.0)[column])
    assert float(positions[3].now(200.0)) == pytest.approx(truth, abs=0.05)
    assert np.interp(200.0, positions[3].times_s, positions[3].values) == pytest.approx(truth, abs=0.05)
    assert positions[3].limits[0][1][0] == pytest.approx(-270.0)
    assert float(rates[3].now(200.0)) == pytest.approx(np.degrees(record.motion.at(200.0, order=1)[column]), abs=5e-4)
    assert np.nanmax(rates[3].limits[0][1]) == pytest.approx(2.0)


def test_relaxations_do_not_shrink_the_shell(small_run):
    record, _ = small_run
    groups = rigid_groups(record)
    relaxed = replace(record, relaxed=(Relaxed("ev1/*", "platform/*", 0.0, 0.0, 540.0, "near"),))
    one, other = shells(record, groups), shells(relaxed, groups)
    assert {k: len(s.faces) for k, s in one.items()} == {k: len(s.faces) for k, s in other.items()}


def test_where_no_pair_of_a_group_is_there_no_line_is_drawn(small_run):
    record, _ = small_run
    curve = record.curves[0]
    lower, upper = curve.lower_m.copy(), curve.upper_m.copy()
    lower[3:6], upper[3:6] = np.inf, np.inf
    (series,) = clearance_series(replace(record, curves=(replace(curve, lower_m=lower, upper_m=upper),)))
    assert np.array_equal(np.flatnonzero(np.isnan(series.values)), np.arange(6, 12))
    assert series.now(float(curve.times_s[4])) == "not there"
    assert series.now(float(curve.times_s[0])) != "not there"


def test_before_its_curve_begins_and_after_it_ends_a_group_has_no_value(small_run):
    record, _ = small_run
    curve = record.curves[0]
    part = replace(curve, times_s=curve.times_s[20:41], lower_m=curve.lower_m[20:40], upper_m=curve.upper_m[20:40])
    (series,) = clearance_series(replace(record, curves=(part,)))
    first, last = float(part.times_s[0]), float(part.times_s[-1])
    assert [series.now(t) for t in (0.0, first - 0.1, last + 0.1, record.duration_s)] == ["not there"] * 4
    assert "not there" not in (series.now(first), series.now(last))


def test_pairs_of_the_arm_with_itself_are_the_headline_only_while_they_fail(small_run):
    record, _ = small_run
    where = {body.name: k for k, body in enumerate(record.bodies)}
    arm, time_s = [name for name in where if name.startswith("arm/")], 200.0
    pose = record.body_poses(time_s)[0]

    def between(one, other):
        placed = (x for name in (one, other) for x in (record.bodies[where[name]].shape, pose[where[name]]))
        return distance(*placed).lower_m

    found = ((between(one, other), one, other) for one, other in combinations(arm, 2))
    apart, a, b = next(item for item in found if 0.01 < item[0] < 2.5)
    plain = Closest(record).at(time_s).row

    def headlines(required_m):
        own = replace(record.pairs[0], body_a=a, body_b=b, class_a="arm", class_b="arm", status="proven", lower_m=0.0,
                      upper_m=0.001, required_m=required_m)
        run = replace(record, pairs=(*record.pairs, own))
        track = closest_track(run, [time_s])
        return own, [Closest(run).at(time_s, parts).row for parts in (False, True)] + [run.pairs[track.row[0]]]

    _, kept = headlines(apart - 0.001)
    assert all(row is plain for row in kept)
    own, failing = headlines(2 * apart + 1.0)
    assert all(row is own for row in failing)
