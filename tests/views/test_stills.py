import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from armcarry.clearance.distance import distances
from armcarry.errors import ArmcarryError
from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.record.record import Record
from armcarry.scene.build import build_scene
from armcarry.timeline.carry import run_carries
from armcarry.views import gl, palette, rehearsed
from armcarry.views.actors import SceneActors
from armcarry.views.annotate import Sheet
from armcarry.views.closest import closest_track, judged, worded
from armcarry.views.groups import STATIC, body_kinds, group_poses, rigid_groups
from armcarry.views.stage import Stage
from armcarry.views.stills import _worksite, stills, tightest_rows
from armcarry.views.viewpoint import (
    Viewpoint,
    about_gap,
    body_corners,
    directions,
    hiding,
    overview,
    screens,
    sight,
    towards_gap,
    towards_place,
    whole,
)
from armcarry.views.way import near_stretches, visited_worksites

#: plots of every rehearsal: the run itself, then what could go wrong
#: nobody can be stranded, near or in the sun in the small run: those plots would be empty
PLOTS = ("joints", "joint_rates", "clearance", "stopping", "runaway", "locked_joint", "seen")

needs_gl = pytest.mark.skipif(gl.problem() is not None, reason="no OpenGL here")


def near(pixels, colour, within=30):
    """Where a picture shows about a colour."""
    wanted = np.array(palette.channels(colour)) * 255
    return np.all(np.abs(pixels.astype(float) - wanted) < within, axis=-1)


@pytest.fixture(scope="module")
def carry():
    """The demo carry, planned and not proven: pictures of worksites ask for no clearance."""
    scene = build_scene(load_scenario(scenarios_folder() / "pump_box_to_bay_7.yaml"))
    run = run_carries(scene)
    return Record(scene, run.phases, run.motion, run.moves, run.events, run.relaxed, run.shortfalls)


def test_groups_carry_every_body_to_where_it_is(small_run):
    record, _ = small_run
    groups = rigid_groups(record)
    assert groups[0].name == STATIC and not groups[0].moves
    assert sorted(row for group in groups for row in group.bodies) == list(range(len(record.bodies)))
    times = np.array([0.0, 74.9, 75.0, 200.0, 540.0])
    poses, truth = group_poses(record, groups, times), record.body_poses(times)
    for k, group in enumerate(groups):
        assert np.allclose(poses[:, k, None] @ group.local, truth[:, list(group.bodies)], atol=1e-12)


def test_what_never_moves_is_one_group_and_what_does_is_not_in_it(small_run):
    record, _ = small_run
    still = {record.bodies[row].name for row in rigid_groups(record)[0].bodies}
    assert "platform/module" in still and "platform/wing_blanket" in still and "arm/shoulder" in still
    assert not still & {"arm/boom_1", "ev1/helmet", "pump_box/case"}
    assert dict(zip([b.name for b in record.bodies], body_kinds(record), strict=True))["pump_box/case"] == "hardware"


def test_a_group_taken_at_a_switch_shows_either_side(small_run):
    record, _ = small_run
    group = [g for g in rigid_groups(record) if g.name.startswith("pump_box")]
    before, after = group_poses(record, group, 75.0, side="left"), group_poses(record, group, 75.0)
    assert np.linalg.norm(before[0, 0, :3, 3] - after[0, 0, :3, 3]) > 0.5


def test_the_closest_pair_is_the_one_that_keeps_the_least_share(small_run):
    record, _ = small_run
    track = closest_track(record, np.array([0.0, record.tightest.time_s]))
    row = record.pairs[track.row[1]]
    assert (row.body_a, row.body_b) == (record.tightest.body_a, record.tightest.body_b)
    assert track.lower_m[1] == pytest.approx(record.tightest.upper_m, abs=1e-4)
    assert np.linalg.norm(track.point_a[1] - track.point_b[1]) == pytest.approx(track.upper_m[1], abs=1e-6)
    assert not judged(replace(row, status="farther")) and not judged(replace(row, required_m=None))
    assert closest_track(replace(record, pairs=()), [1.0]).row[0] == -1


def test_distances_are_worded_with_what_is_required(small_run):
    row = small_run[0].tightest
    assert worded(row, 0.2331) == "0.233 m (0.300 m required)"
    assert worded(row, -np.inf) == "contact (0.300 m required)"
    assert worded(replace(row, required_m=None), 1.0) == "1.000 m"


def test_what_hides_a_point_is_named(small_run):
    record, _ = small_run
    behind = np.array([[-16.0, 3.0, 0.0], [-16.0, 3.2, 0.0]])
    assert hiding(record, 0.0, behind, (-16.0, 12.0, 0.0), ()) == ()
    assert "platform/module" in hiding(record, 0.0, behind, (-16.0, -12.0, 0.0), ())
    assert "platform/module" not in hiding(record, 0.0, behind, (-16.0, -12.0, 0.0), ("platform/module",))


@needs_gl
def test_what_hides_the_people_beside_a_gap_is_seen_through_though_the_gap_is_free(small_run):
    record, _ = small_run
    time_s, things = 200.0, ("ev1", "pump_box")
    middles = record.body_poses(time_s)[0, :, :3, 3]
    mine = [k for k, body in enumerate(record.bodies) if body.name.split("/")[0] in things]
    middle = middles[mine].mean(axis=0)
    found = 0
    for k, body in enumerate(record.bodies):
        far = np.linalg.norm(middles[k] - middle)
        if body.name.split("/")[0] in things or not 1.0 < far < 14.0:
            continue
        eye = middle + (middles[k] - middle) * (1 + 1.0 / far)
        aside = np.cross(eye - middle, [0.0, 0.0, 1.0])
        aside = middle + 1.8 * aside / np.linalg.norm(aside)
        gap = about_gap(aside, aside + 0.05)
        before = hiding(record, time_s, gap, eye, ("ev1/arm_left",))
        through = screens(record, time_s, ("ev1/arm_left", "pump_box/case"), gap, eye)
        assert not {name.split("/")[0] for name in set(through) - set(before)} & set(things)
        found += body.name in through and body.name not in before
    assert found > 0


def test_what_is_seen_through_shows_what_is_behind_it_and_comes_back(small_run):
    record, _ = small_run
    with Stage(record, (320, 180)) as stage:
        stage.mark({"pump_box/case": "#FF00FF"}, dim=0.5)
        middle = stage.scene.body_pose("pump_box/case")[:3, 3]
        eyes = middle + 12 * directions(60)
        eye, before = next(
            (eye, names) for eye in eyes if (names := hiding(record, 0.0, middle[None], eye, ("pump_box/case",)))
        )
        stage.look(Viewpoint(tuple(eye), tuple(middle), view_rad=0.1))
        hidden = stage.shot()
        stage.see_through(before)
        clear = stage.shot()
        stage.see_through(())
        again = stage.shot()
    red = [int(((p[..., 0] > 60) & (p[..., 0] > 2 * p[..., 1]) & (p[..., 2] > 2 * p[..., 1])).sum())
           for p in (hidden, clear, again)]
    assert red[1] > red[0] + 50
    assert np.array_equal(hidden, again)


def test_a_body_before_the_point_blocks_the_sight(small_run):
    record, _ = small_run
    behind = np.array([[-16.0, 3.0, 0.0]])  # beside the module, 1 m off its wall
    eyes = np.array([[-16.0, 12.0, 0.0], [-16.0, -12.0, 0.0]])
    assert sight(record, 0.0, behind, eyes, ()).tolist() == [1.0, 0.0]
    assert sight(record, 0.0, behind, eyes, [b.name for b in record.bodies]).tolist() == [1.0, 1.0]


def test_the_gap_is_seen_across_and_unblocked(small_run):
    record, _ = small_run
    row = record.tightest
    view = towards_gap(record, row.time_s, (row.body_a, row.body_b), row.point_a, row.point_b)
    along = np.subtract(row.point_b, row.point_a)
    way = np.subtract(view.eye_m, view.focus_m)
    assert view.unblocked == 1.0
    assert abs(along @ way) / np.linalg.norm(along) / np.linalg.norm(way) < 0.5


def test_no_picture_where_there_is_no_opengl(small_run, tmp_path, monkeypatch):
    monkeypatch.setattr(gl, "problem", lambda: gl.HINT)
    with pytest.raises(ArmcarryError, match=r"no 3-D picture can be drawn here.*apt-get install libegl1"):
        Stage(small_run[0])
    written = rehearsed.write_views(*small_run, tmp_path)
    assert [p.name for p in written] == [f"{name}.png" for name in PLOTS] + [rehearsed.LEFT_OUT]
    assert "Pictures were left out: no 3-D picture can be drawn here" in written[-1].read_text(encoding="utf-8")


def test_a_trial_that_crashes_is_reported_and_not_shared(monkeypatch):
    monkeypatch.setattr(gl, "_TRIAL", "import os; os.abort()")
    gl._trial.cache_clear()
    try:
        assert gl.problem() == gl.HINT
    finally:
        gl._trial.cache_clear()


@needs_gl
def test_the_overview_holds_everything(small_run):
    record, _ = small_run
    corners = body_corners(record, 0.0)
    with Stage(record, (640, 360)) as stage:
        stage.look(overview(corners, 640 / 360))
        assert np.all(stage.in_view(corners))
        at, _ = stage.pixels(corners)
        assert np.ptp(at[:, 0]) > 0.85 * 640 or np.ptp(at[:, 1]) > 0.85 * 360
        assert len(np.unique(stage.shot().reshape(-1, 3), axis=0)) > 200


@needs_gl
def test_pixels_are_where_the_picture_shows_the_body(small_run):
    record, _ = small_run
    with Stage(record, (640, 360)) as stage:
        stage.scene.show(300.0)
        stage.mark({"pump_box/case": "#FF00FF"}, dim=0.2)
        middle = stage.scene.body_pose("pump_box/case")[:3, 3]
        stage.look(overview(middle + np.random.default_rng(1).normal(size=(50, 3)) * 2, 640 / 360))
        seen = np.argwhere(near(stage.shot(), "#FF00FF", 130))
        (at,), _ = stage.pixels(middle)
    assert len(seen) > 30
    assert np.allclose(seen.mean(axis=0)[::-1], at, atol=12)


@needs_gl
def test_actors_follow_the_record(small_run):
    record, _ = small_run
    scene = SceneActors(record)
    for time_s in (10.0, 75.0, 333.3):
        scene.show(time_s)
        truth = record.body_poses(time_s)[0]
        for k in range(0, len(record.bodies), 7):
            assert np.allclose(scene.body_pose(record.bodies[k].name), truth[k], atol=1e-12)
    assert len(scene.actors) < 15 < len(record.bodies)


@needs_gl
def test_the_tight_moment_shows_both_bodies_and_the_gap(small_run):
    record, _ = small_run
    pictures = {still.name: still for still in stills(record, tight=2, size=(960, 540))}
    assert {"overview", "tightest", "tightest_2"} <= set(pictures)
    tight = pictures["tightest"]
    assert tight.words == "pump box case and bay 7 longeron 1 1 at 0:07:38.0: 0.233 m (0.300 m required)"
    assert tight.title == "pump box case – bay 7 longeron 1 1"
    assert near(tight.pixels, palette.VERMILLION, 12).sum() > 100
    assert near(tight.pixels, palette.LIGHT, 60).sum() > 1000
    rows = tightest_rows(record, 9)
    assert [record.weight_of(row) for row in rows] == sorted(record.weight_of(row) for row in rows)
    assert len({(r.body_a.split("/")[0], r.body_b.split("/")[0]) for r in rows}) == len(rows)


@needs_gl
def test_worksites_are_drawn_with_their_work_in_the_middle_and_nobody_cut(carry):
    record = carry
    places = visited_worksites(record)
    assert [name for name, _ in places] == ["rack_a", "bay_7"]
    sites = record.scene.loaded.platform.document.worksites
    corners_of = {time_s: body_corners(record, time_s).reshape(-1, 8, 3) for _, time_s in places}
    size = np.array([960, 540])
    with Stage(record, tuple(size)) as stage:
        for name, time_s in places:
            still = _worksite(record, stage, name, time_s)
            assert still.name == f"worksite_{name}" and sites[name].title in still.words
            assert still.pixels.shape == (540, 960, 3)
            assert len(np.unique(still.pixels.reshape(-1, 3), axis=0)) > 200  # not an empty sky
            assert near(still.pixels, palette.BLUISH_GREEN, 12).sum() > 20  # a point of work is named
            tree, links = record.link_poses(time_s)
            stand = links[tree.index(f"platform/{sites[name].stand}"), :3, 3]
            spots = [links[tree.index(f"platform/{frame}"), :3, 3] for frame in sites[name].work_points.values()]
            at, before = stage.pixels([stand, *spots])
            assert before.all() and np.all((at > 0.15 * size) & (at < 0.85 * size)), (name, at)
            middle = at.mean(axis=0)
            assert np.all(np.abs(middle - size / 2) < 0.25 * size), (name, middle)
            there = [k for k, body in enumerate(record.bodies) if body.name.startswith("ev1/")]
            boxes = corners_of[time_s][there].reshape(-1, 3)
            assert stage.in_view(boxes).all(), name


@needs_gl
def test_a_worker_beside_a_worksite_is_not_cut(carry, monkeypatch):
    record = carry
    name, time_s = visited_worksites(record)[0]
    close = towards_place

    def too_near(*given):
        view = close(*given)
        eye, focus = np.array(view.eye_m), np.array(view.focus_m)
        return replace(view, eye_m=tuple(focus + 0.3 * (eye - focus)))

    monkeypatch.setattr("armcarry.views.stills.towards_place", too_near)
    there = [k for k, body in enumerate(record.bodies) if body.name.startswith("ev1/")]
    with Stage(record, (960, 540)) as stage:
        stage.look(too_near(record, time_s, body_corners(record, time_s).reshape(-1, 8, 3)[there].reshape(-1, 3), 6.0))
        _worksite(record, stage, name, time_s)
        assert stage.in_view(body_corners(record, time_s).reshape(-1, 8, 3)[there].reshape(-1, 3)).all()


@needs_gl
def test_the_path_of_the_tool_stays_round_in_a_run_of_hours(small_run, monkeypatch):
    record, _ = small_run
    drawn = []
    real = Stage.path
    monkeypatch.setattr(Stage, "path", lambda stage, path, *more: drawn.append(path) or real(stage, path, *more))
    monkeypatch.setattr("armcarry.views.way._STEP_S", 0.1)
    next(stills(record, tight=0, worksites=False, size=(320, 180)))
    assert len(drawn[0]) > 1000
    assert np.linalg.norm(np.diff(drawn[0], axis=0), axis=1).max() < 0.05


@needs_gl
def test_a_rehearsal_leaves_plots_and_pictures(small_run, tmp_path):
    told = []
    written = rehearsed.write_views(*small_run, tmp_path / "views", lambda words, share: told.append(share))
    names = [path.stem for path in written]
    assert names == [*PLOTS, "overview", "failed", "tightest"]
    assert told == sorted(told) and told[-1] == 1.0
    for path in written:
        with Image.open(path) as image:
            assert min(image.size) >= 900
            assert len(image.convert("RGB").getcolors(2**24)) > 50


def test_the_path_tells_where_the_run_is_near_what_is_required(small_run):
    record, _ = small_run
    found = near_stretches(record)
    assert any(start <= record.tightest.time_s <= end for start, end, short in found if short)
    for start, _, short in found:
        track = closest_track(record, [start])
        share = track.lower_m[0] / record.pairs[track.row[0]].required_m
        assert (share < 1.0) == short and share < 1.25
    assert sum(end - start for start, end, _ in found) < 0.8 * record.duration_s


def test_labels_do_not_cover_one_another():
    sheet = Sheet(np.zeros((540, 960, 3), dtype=np.uint8))
    for k in range(14):
        sheet.label((470 + 4 * k, 260 + 3 * k), f"body number {k}")
    boxes = sheet._taken
    assert len(boxes) == 14
    for i, one in enumerate(boxes):
        assert min(one) >= 0 and one[2] <= 960 and one[3] <= 540
        for other in boxes[:i]:
            assert min(one[2], other[2]) <= max(one[0], other[0]) or min(one[3], other[3]) <= max(one[1], other[1])


def test_no_leader_crosses_the_words_of_another_label():
    alone, both = (Sheet(np.zeros((540, 960, 3), dtype=np.uint8)) for _ in range(2))
    alone.label((480, 270), "0.233 m (0.300 m required)", palette.VERMILLION, 1.5)
    box = [int(value) for value in alone._taken[0]]
    both.label((480, 270), "0.233 m (0.300 m required)", palette.VERMILLION, 1.5)
    for point in ((box[0] + 40, box[1] + 12), (box[2] - 60, box[3] - 12)):  # under the number itself
        both.label(point, "keel bay 7 brace port", palette.LIGHT)
    inside = np.s_[box[1] + 2 : box[3] - 2, box[0] + 2 : box[2] - 2]
    faint = np.abs(both.pixels()[inside].astype(int) - alone.pixels()[inside]).max()
    assert faint < 30  # boxes let a tenth through


def test_long_titles_are_cut_to_the_picture():
    sheet = Sheet(np.zeros((270, 480, 3), dtype=np.uint8))
    sheet.title("word " * 100, "more " * 100)
    sheet.caption(["a caption that is far too long for the picture " * 5, "x"])
    assert all(box[2] <= 480 for box in sheet._taken)


def test_importing_the_package_loads_no_drawing_library():
    heavy = ("pyvista", "vtkmodules", "matplotlib", "PIL")
    code = f"import sys, armcarry, armcarry.views.rehearsed; print([m for m in {heavy} if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "[]"


def test_the_closest_pair_is_the_same_as_by_measuring_all(small_run, monkeypatch):
    record, _ = small_run
    times = np.linspace(0, 540, 40)
    monkeypatch.setattr("armcarry.views.closest._BLOCK", 7)
    track = closest_track(record, times)
    rows = [row for row in record.pairs if judged(row)]
    where = {body.name: k for k, body in enumerate(record.bodies)}
    pairs = np.array([(where[row.body_a], where[row.body_b]) for row in rows])
    found = distances([body.shape for body in record.bodies], record.body_poses(times), pairs)
    share = found.lower_m / np.array([row.required_m for row in rows])
    assert np.allclose(track.lower_m, found.lower_m[np.arange(40), share.argmin(axis=1)], atol=1e-9)


def test_a_view_of_the_whole_run_holds_the_arm_at_every_instant(carry):
    view = overview(whole(carry), 16 / 9)
    away = np.subtract(view.eye_m, view.focus_m) / np.linalg.norm(np.subtract(view.eye_m, view.focus_m))
    right = np.cross((0.0, 0.0, 1.0), away)
    right /= np.linalg.norm(right)
    times = np.linspace(carry.motion.start_s, carry.motion.end_s, 200)
    for link in ("arm/boom_far", carry.scene.arm_tip):
        points = carry.link_path(link, times)[:, :3, 3] - view.eye_m
        depth = -(points @ away)
        tall = np.tan(view.view_rad / 2) * depth
        assert np.all(np.abs(points @ np.cross(away, right)) < tall)
        assert np.all(np.abs(points @ right) < tall * 16 / 9)
