"""What cameras see: against lines drawn by hand at many instants, and the words of the findings."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.checks import seen
from armcarry.clearance.distance import distance
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box, Capsule, Sphere
from armcarry.record.finding import Verdict
from armcarry.record.record import PairRow
from armcarry.scene.camera import View, look
from armcarry.seeing.gaps import STEP_M, CloseGap, Gaps, watched_gaps
from armcarry.seeing.sight import depth_in_view_m, sightings, stretches, watch

VIEW = {"horizontal_view": "60 deg", "vertical_view": "40 deg"}
TURNS = {"pan": ["-170 deg", "170 deg"], "tilt": ["-80 deg", "80 deg"]}


def _looks(eye, goal):
    """Return a pose at eye whose +x points to goal, +z up."""
    x = np.subtract(goal, eye) / np.linalg.norm(np.subtract(goal, eye))
    y = np.cross((0, 0, 1), x) / np.linalg.norm(np.cross((0, 0, 1), x))
    pose = poses.translation(eye)
    pose[:3, :3] = np.column_stack([x, y, np.cross(x, y)])
    return pose


def _scene(rider_scene, eyes, bodies=(), turns=TURNS, **options):
    """Build a scene with platform cameras at points, turned to the rider's chest at the start."""
    chest = rider_scene({}).tree.pose_of("ev1/chest", rider_scene({}).position)[:3, 3]
    frames = {name: _looks(chest + place, chest) for name, place in eyes.items()}
    cameras = {name: {"frame": name, **VIEW, **turns} for name in eyes}
    return rider_scene({}, bodies, frames=frames, platform={"cameras": cameras}, **options), chest


def _wall(at, size=(0.2, 3.0, 3.0)):
    return Body("wall", "yard", Box(size), poses.translation(at))


# -- tip and rider -----------------------------------------------------------------------------------------


def test_what_is_proven_seen_is_seen_at_every_instant(rider_scene, turning_record):
    scene, chest = _scene(rider_scene, {"left": (0.0, 6.0, 1.0), "front": (7.0, 0.0, 0.0)})
    wall = _wall(np.add(chest, (-1.2, 3.5, 0.5)), (2, 0.2, 2))
    scene, _ = _scene(rider_scene, {"left": (0.0, 6.0, 1.0), "front": (7.0, 0.0, 0.0)}, [wall])
    record = turning_record(scene, rate_rad_s=0.03, turning_s=50.0)
    found = sightings(record)
    t = found.targets.index("ev1")
    random = np.random.default_rng(4)
    seen_by = {}
    for time in random.uniform(0.0, record.duration_s, 150):
        cell = int(np.searchsorted(found.edges_s, time, side="right")) - 1
        tree, links = record.link_poses(time)
        point = links[tree.index("ev1/chest"), :3, 3]
        placed = record.body_poses([time])[0]
        for e, name in enumerate(found.cameras):
            camera = name.split("/")[1]
            pose = links[tree.index(f"platform/{camera}")]
            line = point - pose[:3, 3]
            rod = poses.translation((point + pose[:3, 3]) / 2)
            z = line / np.linalg.norm(line)
            x = np.cross(z, (0.3, 0.5, 0.1)) / np.linalg.norm(np.cross(z, (0.3, 0.5, 0.1)))
            rod[:3, :3] = np.column_stack([x, np.cross(z, x), z])
            free = all(
                distance(Capsule(0.0, float(np.linalg.norm(line))), rod, body.shape, placed[k]).lower_m > 0
                for k, body in enumerate(record.bodies)
                if not body.name.startswith("ev1/")
            )
            view = View(np.radians(60), np.radians(40), (np.radians(-170), np.radians(170)), (-1.39, 1.39))
            sees = free and bool(look(view, pose, point).inside)
            seen_by.setdefault(name, []).append((sees, bool(found.seen[cell, e, t])))
    for pairs in seen_by.values():
        assert not any(proven and not sees for sees, proven in pairs)
    truth = np.array(seen_by["platform/left"])
    assert 20 < truth[:, 0].sum() < 140  # the wall does hide the rider for a while
    assert truth[:, 1].sum() >= 0.7 * truth[:, 0].sum()  # and most of what is seen is proven


def test_a_rider_seen_all_the_time_passes_with_the_best_pair(rider_scene, turning_record):
    scene, _ = _scene(rider_scene, {"left": (0.0, 6.0, 0.5), "front": (7.0, 0.0, 0.5), "beside": (6.8, 0.5, 0.5)})
    record = turning_record(scene, rate_rad_s=0.0)
    rider = next(finding for finding in seen.check(record) if finding.subject == "ev1")
    assert rider.verdict is Verdict.PASS
    assert (rider.value, rider.limit, rider.unit, rider.start_s, rider.end_s) == (0.0, None, "s", 0.0, 60.0)
    assert rider.message.startswith("at every instant a camera sees ev1; the best pair fixes it least well in swing: ")
    (item,) = {item.pair for item in seen.watched(record) if item.target == "ev1"}
    assert set(item) == {"platform/left", "platform/front"}
    watched = next(item for item in seen.watched(record) if item.target == "ev1")
    assert watched.cameras == ("platform/left", "platform/front", "platform/beside")
    # by hand: lines along (0, 6, 0.5) and (7, 0, 0.5)
    assert np.cos(watched.crossing_rad) == pytest.approx(0.25 / np.hypot(6, 0.5) / np.hypot(7, 0.5), abs=1e-9)
    assert watched.pair_share == pytest.approx(1.0)
    assert watched.unseen_s == 0.0


def test_only_cameras_that_both_see_cross_and_each_line_is_held_against_bodies_of_its_own_instant(
    rider_scene, turning_record
):
    eyes = {"left": (0.0, 6.0, 0.5), "front": (7.0, 0.0, 0.5), "hidden": (6.8, 6.0, 0.5)}
    wall = _wall(np.add(_scene(rider_scene, eyes)[1], (1.5, 1.3, 0.0)), (0.6, 0.2, 2.0))
    found = sightings(turning_record(_scene(rider_scene, eyes, [wall])[0], rate_rad_s=0.03, turning_s=50.0))
    t, seen_at = found.targets.index("ev1"), found.seen[:, :, found.targets.index("ev1")]
    hidden = seen_at[:, 0] & ~seen_at[:, 2]
    assert hidden.any() and seen_at.all(axis=1).any()  # the third sees it for a time
    crossing = found.crossing_rad[:, :, :, t]
    assert not crossing[hidden, 0, 2].any() and not crossing[hidden, 2, 0].any()
    both = seen_at[:, 0] & seen_at[:, 2]
    assert np.all(crossing[both, 0, 2] > 0.1) and np.all(crossing[both, 2, 0] > 0.1)


@pytest.mark.parametrize(
    ("extra", "verdict", "words"),
    [
        ("0 m", Verdict.NOT_ASSESSED, "; the rules do not say what that asks for (unseen_extra)"),
        ("0.2 m", Verdict.PASS, "; gaps that nobody sees must be 0.2 m wider"),
    ],
)
def test_a_rider_behind_a_wall_is_unseen(rider_scene, turning_record, extra, verdict, words):
    _, chest = _scene(rider_scene, {"front": (7.0, 0.0, 0.0)})
    scene, _ = _scene(
        rider_scene, {"front": (7.0, 0.0, 0.0)}, [_wall(np.add(chest, (4.0, 0.0, 0.0)))], rules={"unseen_extra": extra}
    )
    findings = seen.check(turning_record(scene, rate_rad_s=0.0))
    rider = next(finding for finding in findings if finding.subject == "ev1")
    assert rider.verdict is verdict
    assert rider.message == (
        "for 0:01:00.0 no camera is proven to see ev1, longest from 0:00:00.0 to 0:01:00.0 in swing" + words
    )
    assert rider.value == pytest.approx(60.0)
    assert (rider.limit, rider.unit, rider.start_s, rider.end_s) == (None, "s", 0.0, 60.0)
    assert rider.remedy == (
        "" if verdict is Verdict.PASS else "turn or add a camera that sees ev1 from 0:00:00.0 to 0:01:00.0"
    )


def test_a_head_that_cannot_turn_so_far_does_not_see(rider_scene, turning_record):
    scene, _ = _scene(rider_scene, {"front": (7.0, 0.0, 0.0)}, turns={"pan": ["60 deg", "90 deg"]})
    record = turning_record(scene, rate_rad_s=0.0)
    assert not sightings(record).seen.any()
    scene, _ = _scene(rider_scene, {"front": (7.0, 0.0, 0.0)}, turns={"pan": ["20 deg", "90 deg"]})
    assert sightings(turning_record(scene, rate_rad_s=0.0)).seen[:, 0, 1].all()


def test_a_camera_does_not_hide_what_it_sees_behind_its_own_housing(rider_scene, turning_record):
    _, chest = _scene(rider_scene, {"front": (7.0, 0.0, 0.0)})
    housing = Body("housing", "yard", Box((0.3, 0.2, 0.2)), poses.translation(np.add(chest, (7.14, 0.0, 0.0))))
    scene, _ = _scene(rider_scene, {"front": (7.0, 0.0, 0.0)}, [housing])
    record = turning_record(scene, rate_rad_s=0.0)
    assert sightings(record).seen[:, 0, 1].all()
    # its middle is 0.14 m from the eye; a ball around it has 0.206 m
    assert watch(record, record.phases[0]).housing_reach_m("platform/front") == pytest.approx(0.3462, abs=1e-4)
    lid = Body("lid", "yard", Box((0.02, 0.2, 0.2)), poses.translation(np.add(chest, (6.9, 0.0, 0.0))))
    scene, _ = _scene(rider_scene, {"front": (7.0, 0.0, 0.0)}, [housing, lid])
    assert not sightings(turning_record(scene, rate_rad_s=0.0)).seen[:, 0, 1].any()


def test_a_camera_out_of_service_sees_nothing(rider_scene, turning_record):
    scene, _ = _scene(
        rider_scene, {"left": (0.0, 6.0, 0.5), "front": (7.0, 0.0, 0.5)}, script={"cameras_off": ["*/front"]}
    )
    assert sightings(turning_record(scene)).cameras == ("platform/left",)


def test_cameras_that_are_all_out_of_service_are_named(rider_scene, turning_record):
    eyes = {"left": (0.0, 6.0, 0.5), "front": (7.0, 0.0, 0.5)}
    scene, _ = _scene(rider_scene, eyes, script={"cameras_off": ["platform/*"]})
    (finding,) = seen.check(turning_record(scene))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == (
        "every camera is out of service (platform/left, platform/front), so nobody sees tip, riders and gaps"
    )
    assert (finding.subject, finding.remedy) == ("arm", "take one off the script's cameras_off")


def test_without_cameras_nothing_is_assessed(rider_scene, turning_record):
    (finding,) = seen.check(turning_record(rider_scene({})))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == "neither platform, arm nor crew has a camera"
    assert finding.remedy == "name the cameras in the documents of platform, arm and crew"


# -- gaps --------------------------------------------------------------------------------------------------


def _row(record, required_m=0.3):
    """Measure the helmet against the post over the run, densely: the least gap, and when."""
    rows = {body.name: k for k, body in enumerate(record.bodies)}
    a, b = rows["ev1/helmet"], rows["platform/post"]
    times = np.linspace(0.0, record.duration_s, 2001)
    placed = record.body_poses(times)
    gaps = np.linalg.norm(placed[:, a, :3, 3] - placed[:, b, :3, 3], axis=1) - 0.16 - 0.1
    k = int(gaps.argmin())
    least = float(gaps[k])
    return PairRow(
        "ev1/helmet", "platform/post", "rider", "structure", 0.0, record.duration_s, required_m, "rule", "proven",
        least - 1e-6, least, float(times[k]), tuple(placed[k, a, :3, 3]), tuple(placed[k, b, :3, 3]),
    ), times, gaps


@pytest.fixture
def passing(rider_scene, turning_record):
    """Build a run in which the helmet passes a ball at 0.4 m, watched or not, with a rule of 0.3 m."""

    def build(eyes, extra="0.15 m", walls=(), between=(), script=None):
        scene, chest = _scene(rider_scene, eyes)
        helmet = turning_record(scene).body_poses([20.0])[0, [b.name for b in scene.tree.bodies].index("ev1/helmet")]
        beyond = [helmet @ poses.translation((0.0, 0.0, up)) for up in (0.66, *between)]  # over the crown
        bodies = [Body("post", "yard", Sphere(0.1), beyond[0])]
        bodies += [Body(f"between_{k}", "yard", Sphere(0.05), pose) for k, pose in enumerate(beyond[1:])]
        bodies += [_wall(np.add(chest, at), size) for at, size in walls]
        scene, _ = _scene(rider_scene, eyes, bodies, rules={"unseen_extra": extra}, script=script or {})
        first = turning_record(scene)
        row, times, gaps = _row(first)
        return turning_record(scene, pairs=(row,)), times, gaps

    return build


def test_a_gap_that_a_camera_sees_needs_nothing_more(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)})
    gap = next(finding for finding in seen.check(record) if finding.subject == "gaps")
    assert gap.verdict is Verdict.PASS
    assert gap.message.startswith(
        "a camera sees every gap that is less than 0.15 m wider than required, 1 in all; the tightest, "
        "ev1/helmet and platform/post at 0:"
    )
    assert gap.message.endswith("by platform/left")


def test_a_gap_that_nobody_sees_must_be_wider(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)}, walls=[((0.0, 4.0, 1.5), (9.0, 0.2, 9.0))])
    (gap,) = [finding for finding in seen.check(record) if finding.verdict is Verdict.FAIL]
    assert (gap.subject, gap.other) == ("ev1/helmet", "platform/post")
    assert gap.value == pytest.approx(0.4, abs=STEP_M)
    assert gap.limit == pytest.approx(0.45)
    assert "where no camera sees the gap" in gap.message
    assert gap.message.endswith("0.300 m is required and 0.15 m more where nobody sees")
    assert gap.remedy.startswith("keep 0.0")
    assert "or turn or add a camera that sees between ev1/helmet and platform/post at 0:" in gap.remedy
    assert gap.clearance.required_m == pytest.approx(0.45)


def test_a_camera_out_of_service_that_would_see_a_gap_is_named(passing):
    eyes = {"left": (0.0, 6.0, 1.5), "under": (0.5, 0.0, -4.0)}
    record, *_ = passing(eyes, script={"cameras_off": ["platform/left"]}, walls=[((0, 0, -3.0), (9, 9, 0.1))])
    (gap,) = [finding for finding in seen.check(record) if finding.verdict is Verdict.FAIL]
    assert gap.remedy.endswith("m more apart there, or bring back platform/left, which would see it")


def test_without_an_extra_no_gap_is_judged(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)}, extra="0 m", walls=[((0.0, 4.0, 1.5), (9.0, 0.2, 9.0))])
    assert all(finding.subject in ("arm/tip", "ev1") for finding in seen.check(record))


def test_a_granted_relaxation_stands(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)}, walls=[((0.0, 4.0, 1.5), (9.0, 0.2, 9.0))])
    granted = replace(record, pairs=(replace(record.pairs[0], why="near the post"),))
    gap = next(finding for finding in seen.check(granted) if finding.subject == "gaps")
    assert gap.message == "every gap is at least 0.15 m wider than required, so none needs to be seen"


def test_no_close_instant_is_missed(passing):
    record, times, gaps = passing({"left": (0.0, 6.0, 1.5)})
    (close,) = Gaps(record).close([(record.pairs[0], 0.45)])
    for time, gap in zip(times, gaps, strict=True):
        cell = (close.start_s <= time) & (time <= close.end_s)
        if gap < 0.45:
            assert cell.any()
            assert close.lower_m[cell].min() <= gap + 1e-9
    names = [body.name for body in record.bodies]
    placed = record.body_poses(close.time_s)
    helmet, post = (placed[:, names.index(name), :3, 3] for name in ("ev1/helmet", "platform/post"))
    along = (post - helmet) / np.linalg.norm(post - helmet, axis=1)[:, None]  # two balls, of 0.16 m and 0.1 m
    np.testing.assert_allclose(close.middle_m, (helmet + 0.16 * along + post - 0.1 * along) / 2, atol=1e-6)


def test_what_stands_between_two_bodies_is_nearer_to_both(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)}, between=[0.36])
    (whole,) = Gaps(record).close([(replace(record.pairs[0], body_b="platform/between_0"), 0.45)])
    (open_,) = Gaps(record).close([(record.pairs[0], 0.45)])
    assert len(open_.time_s) > 2 and len(whole.time_s) > 2  # before and after it, the gap is open
    # by the distance of the ball between from the line between the two others' middles
    names = [body.name for body in record.bodies]
    for time_s in np.arange(16.5, 24.0):
        placed = record.body_poses([time_s])[0, :, :3, 3]
        helmet, post, ball = (placed[names.index(f"{name}")] for name in (
            "ev1/helmet", "platform/post", "platform/between_0"))  # fmt: skip
        aside = np.linalg.norm(np.cross(post - helmet, ball - helmet)) / np.linalg.norm(post - helmet)
        assert np.any((open_.start_s < time_s) & (time_s < open_.end_s)) == (aside > 0.05)
    together = Gaps(record).close([(record.pairs[0], 0.42), (record.pairs[0], 0.45)])
    assert [len(one.time_s) for one in together] == [4, len(open_.time_s)]
    assert together[1].time_s.tolist() == open_.time_s.tolist()


def test_who_sees_the_tightest_gap_of_a_move(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5), "front": (7.0, 0.0, 1.0)})
    gaps = Gaps(record)
    found = gaps.tightest(record.moves[0])
    row, cameras = found.row, found.seen_by
    assert row is record.pairs[0]
    assert cameras == ("platform/left", "platform/front")
    assert gaps.tightest(record.moves[1]) is None
    at_the_start = replace(row, time_s=record.moves[0].start_s)
    assert Gaps(replace(record, pairs=(at_the_start,))).tightest(record.moves[0]).row is at_the_start
    at_the_end = replace(row, time_s=record.moves[0].end_s)
    assert Gaps(replace(record, pairs=(at_the_end,))).tightest(record.moves[0]).row is at_the_end


def test_the_tightest_of_every_move_that_has_one_is_kept_and_a_gap_without_margin_is_close(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)})
    (row,) = record.pairs
    for required_m, close in ((row.required_m, 1), (row.lower_m, 1), (row.lower_m + 1e-3, 0)):
        found = watched_gaps(replace(record, pairs=(replace(row, required_m=required_m),)))
        assert [item.move for item in found.tightest] == [record.moves[0]]
        assert found.tightest[0].seen_by == ("platform/left",)
        assert len(found.close) == close  # what is nearer than required fails as a clearance


def test_a_gap_is_looked_at_in_its_middle(passing, monkeypatch):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)})
    (row,), looked = record.pairs, []
    monkeypatch.setattr(Gaps, "seen_by", lambda self, time_s, point_m: looked.append((time_s, *point_m)) or ())
    Gaps(record).tightest(record.moves[0])
    assert looked == [(row.time_s, *(pytest.approx(value) for value in np.add(row.point_a, row.point_b) / 2))]


def test_the_tightest_gap_of_a_move_is_the_one_with_the_least_margin_of_those_that_are_judged(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)})
    (row,) = record.pairs
    wider, other = replace(row, lower_m=row.lower_m + 0.2), replace(row, why="by eye", lower_m=0.0)
    own = replace(row, class_b="rider", lower_m=0.0)  # both are moved by the arm
    later = replace(row, time_s=59.0, lower_m=0.0)
    for order in ((wider, row), (row, wider), (other, own, later, wider, row)):
        assert Gaps(replace(record, pairs=order)).tightest(record.moves[0]).row is row


def test_a_row_is_asked_about_in_its_own_window_alone(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)})
    (row,) = record.pairs
    (whole,) = Gaps(record).close([(row, 0.45)])
    middle = float(whole.time_s[len(whole.time_s) // 2])
    part = replace(row, start_s=middle, end_s=middle + 3.0)
    (found,) = Gaps(record).close([(part, 0.45)])
    assert found.start_s.min() >= middle and found.end_s.max() <= middle + 3.0
    assert Gaps(record).close([(replace(row, start_s=45.0, end_s=60.0), 0.45)]) == ()
    assert Gaps(record).close([(replace(row, start_s=50.0, end_s=50.0), 9.0)]) == ()
    both = Gaps(record).close([(part, 0.45), (row, 0.45)])
    assert [item.row for item in both] == [part, row]
    np.testing.assert_array_equal(both[1].time_s, whole.time_s)


def test_bodies_that_the_arm_carries_neither_of_are_no_gap_of_its(passing, rider_scene, turning_record):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)})
    (row,) = record.pairs
    assert Gaps(record).close([(replace(row, body_a="platform/post", class_a="structure"), 9.0)]) == ()


# -- the words of gaps, several of them ------------------------------------------------------------------------


class _Stub:
    """Stands for Gaps: every camera asked about sees."""

    seen, idle = ("platform/left", "platform/front"), ()

    def __init__(self, record):
        self.record = record

    def seen_by(self, time_s, point_m):
        self.record.asked.append((time_s, point_m))
        return self.seen

    def would_see(self, time_s, point_m):
        self.record.asked.append((time_s, point_m))
        return self.idle


@pytest.fixture
def told(monkeypatch):
    """Tell gaps, each (body, margin, less than the gap in three cells of 2 s, whether they are seen)."""

    def build(*gaps, extra_m=0.15, idle=()):
        monkeypatch.setattr(seen, "Gaps", _Stub)
        monkeypatch.setattr(_Stub, "idle", idle)
        close = []
        for body, margin_m, lower_m, sees in gaps:
            row = PairRow("ev1/helmet", body, "rider", "structure", 0.0, 60.0, 0.3, "rule", "proven", 0.3 + margin_m,
                          0.3 + margin_m + 1e-3, 12.5, (1.0, 2.0, 3.0), (4.0, 5.0, 6.0))  # fmt: skip
            starts = np.array([10.0, 12.0, 14.0])
            close.append(CloseGap(row, starts + 1.0, starts, starts + 2.0, np.array(lower_m),
                                  np.arange(9.0).reshape(3, 3), np.array(sees)))  # fmt: skip
        monkeypatch.setattr(seen, "watched_gaps", lambda _: SimpleNamespace(close=tuple(close)))
        record = SimpleNamespace(asked=[])
        return seen._gaps(record, extra_m), record.asked

    return build


BLIND, SEEN = [False, False, True], [True, True, True]


def test_of_gaps_that_are_all_seen_the_tightest_is_told(told):
    (found,), asked = told(
        ("platform/wide", 0.14, [0.44, 0.45, 0.46], SEEN), ("platform/tight", 0.1, [0.43, 0.41, 0.42], SEEN)
    )
    assert found.verdict is Verdict.PASS
    assert found.message == (
        "a camera sees every gap that is less than 0.15 m wider than required, 2 in all; the tightest, ev1/helmet and "
        "platform/tight at 0:00:13.0 by platform/left, platform/front"
    )
    assert (found.subject, found.limit, found.unit) == ("gaps", 0.15, "m")
    ((time_s, point_m),) = asked
    assert time_s == 13.0 and point_m.tolist() == [3.0, 4.0, 5.0]


def test_gaps_that_nobody_sees_are_told_the_worst_first(told):
    found, _ = told(
        ("platform/wide", 0.1, [0.42, 0.43, 0.41], BLIND), ("platform/seen", 0.1, [0.41, 0.41, 0.41], SEEN),
        ("platform/tight", 0.1, [0.40, 0.39, 0.38], BLIND), ("platform/middle", 0.1, [0.41, 0.42, 0.40], BLIND),
    )
    assert [item.other for item in found] == ["platform/tight", "platform/middle", "platform/wide"]


def test_an_unseen_gap_is_told_with_its_least_unseen_instant(told):
    (found,), asked = told(("platform/post", 0.1, [0.43, 0.42, 0.35], BLIND))
    assert found.message == (
        "ev1/helmet and platform/post come within 0.420 m at 0:00:13.0 where no camera sees the gap, for 0:00:04.0 in "
        "all; 0.300 m is required and 0.15 m more where nobody sees"
    )
    assert found.remedy == (
        "keep 0.030 m more apart there, or turn or add a camera that sees between ev1/helmet and platform/post at "
        "0:00:13.0"
    )
    assert (found.subject, found.other, found.start_s, found.end_s) == ("ev1/helmet", "platform/post", 10.0, 14.0)
    assert (found.value, found.limit, found.unit) == (0.42, pytest.approx(0.45), "m")
    detail = found.clearance
    assert (detail.lower_m, detail.upper_m, detail.time_s) == (0.42, pytest.approx(0.401), 13.0)
    assert (detail.point_a, detail.point_b) == ((1.0, 2.0, 3.0), (4.0, 5.0, 6.0))
    assert asked[0][1].tolist() == [3.0, 4.0, 5.0]


def test_what_the_table_proves_is_never_undercut_and_idle_cameras_are_named(told):
    (found,), _ = told(("platform/post", 0.1, [0.31, 0.32, 0.5], BLIND), idle=("arm/tip", "ev2/lamp"))
    assert found.value == pytest.approx(0.4)
    assert found.remedy == "keep 0.050 m more apart there, or bring back arm/tip or ev2/lamp, which would see it"


def test_the_longest_of_several_unseen_stretches_is_told(monkeypatch):
    unseen = ((0.0, 4.0), (10.0, 30.0), (40.0, 41.0))
    monkeypatch.setattr(seen, "sightings", lambda _: SimpleNamespace(unseen=lambda target: unseen))
    monkeypatch.setattr(seen, "watched", lambda _: ())
    title = SimpleNamespace(title="swing")
    record = SimpleNamespace(move_at=lambda time_s: title if time_s == 20.0 else None)
    found = seen._target(record, "ev1", 0.0)
    assert found.message.startswith(
        "for 0:00:25.0 in 3 stretches no camera is proven to see ev1, longest from 0:00:10.0 to 0:00:30.0 in swing; "
    )
    assert (found.value, found.start_s, found.end_s, found.subject) == (25.0, 10.0, 30.0, "ev1")
    record.move_at = lambda time_s: None
    assert "to 0:00:30.0; the rules" in seen._target(record, "ev1", 0.0).message


@pytest.mark.parametrize(("items", "words"), [
    ([], ""),
    ([("arrive", "attach", ("a", "b"), 0.1, 1.0)], ""),  # while something is attached nothing has to be fixed
    ([("swing", "line", (), 0.0, 0.0), ("up", "line", ("a", "b"), 0.5, 1.0)], "; in swing never two at once"),
    ([("swing", "line", ("a", "b"), 1.2, 0.42), ("up", "line", ("a", "c"), 1.0, 1.0)],
     "; the best pair fixes it least well in swing: a with b, lines crossing at 68 deg or more in 42 % of it"),
    ([("swing", "line", ("a", "b"), 1.2, 1.0), ("up", "line", ("a", "c"), 1.0, 0.995)],
     "; the best pair fixes it least well in up: a with c, lines crossing at 57 deg or more"),
])  # fmt: skip
def test_the_move_in_which_a_target_is_fixed_worst_is_told(items, words):
    watched = [
        seen.Watched(SimpleNamespace(title=title, kind=kind), "ev1", (), pair, crossing, share, 0.0)
        for title, kind, pair, crossing, share in items
    ]
    assert seen._least(watched) == words


# -- parts -------------------------------------------------------------------------------------------------


def test_the_depth_in_view_is_the_radius_of_a_ball_that_fits():
    view = View(np.radians(60), np.radians(40))
    random = np.random.default_rng(0)
    for point in random.uniform((1, -2, -2), (8, 2, 2), (200, 3)):
        depth = float(depth_in_view_m(view, poses.identity(), point))
        steps = random.normal(size=(100, 3))
        steps *= abs(depth) / np.linalg.norm(steps, axis=1, keepdims=True)
        inside = look(view, poses.identity(), point + 0.999 * steps).inside
        assert inside.all() if depth > 0 else not inside.all()
    assert depth_in_view_m(view, poses.identity(), (2.0, 0.0, 0.0)) == pytest.approx(2 * np.sin(np.radians(20)))


def test_stretches_of_cells():
    edges = np.array([0.0, 1.0, 3.0, 4.0, 8.0])
    assert stretches(edges, np.array([True, True, False, True])) == ((0.0, 3.0), (4.0, 8.0))
    assert stretches(edges, np.zeros(4, dtype=bool)) == ()


def test_while_the_arm_stands_no_gap_is_asked_for(passing):
    record, *_ = passing({"left": (0.0, 6.0, 1.5)})
    (close,) = Gaps(record).close([(record.pairs[0], 50.0)])
    assert close.end_s.max() == pytest.approx(40.0)
