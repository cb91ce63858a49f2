"""The 3-D view drawn off screen: the same class that the window shows."""

import subprocess
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image
from vtkmodules.util.numpy_support import vtk_to_numpy

from armcarry.files.documents.rooms import Room
from armcarry.quantities import rounded_down
from armcarry.views import gl, kept_out, palette
from armcarry.views.actors import SceneActors
from armcarry.views.eyes import eyes
from armcarry.views.meshes import sides_within
from armcarry.views.player import capture, look, overlays
from armcarry.views.player.cameras import Cameras
from armcarry.views.player.layers import frame_links
from armcarry.views.player.nearest import Closest, Nearest
from armcarry.views.player.scene import OFF_M, QUICK, SHARP, SceneView
from armcarry.views.player.session import Session
from armcarry.views.player.swept import MAP_BANDS_M, map_layer
from armcarry.views.viewpoint import Viewpoint
from armcarry.whatif.swept import MAP_REPORT_M, closest_map

pytestmark = pytest.mark.skipif(gl.problem() is not None, reason="no OpenGL here")


@pytest.fixture(scope="module")
def open_scene(small_run):
    import pyvista

    plotters = []

    def make(other=None, record=small_run[0]):
        plotter = pyvista.Plotter(off_screen=True, window_size=[640, 360], lighting="none")
        plotter.render_window.SetMultiSamples(QUICK)
        plotters.append(plotter)
        scene = SceneView(plotter, record, other)
        scene.render()
        scene.cameras.overview(0.0, 640 / 360)
        return scene

    yield make
    for plotter in plotters:
        plotter.close()


@pytest.fixture(scope="module")
def scene(open_scene):
    return open_scene()


@pytest.fixture(autouse=True)
def at_rest(scene):
    scene.cameras.choose("free", 0.0)
    scene.cameras.overview(0.0, scene.aspect)
    scene.tint.off()
    for name in tuple(scene.shown):
        scene.show_layer(name, False)
    scene.show(0.0)
    scene.show_nearest(None)


def near(pixels, colour, within=12):
    return np.all(np.abs(pixels.astype(float) - np.array(palette.channels(colour)) * 255) < within, axis=-1)


def test_the_overview_shows_all_of_it(scene):
    picture = capture.pixels(scene)
    assert picture.shape == (360, 640, 3)
    away = ~near(picture, palette.ROOM, 3)
    rows, columns = np.nonzero(away)
    assert away.mean() > 0.03 and np.ptp(columns) > 400
    assert rows.min() > 0 and rows.max() < 359 and columns.min() > 0 and columns.max() < 639


@pytest.mark.parametrize(
    "name", ["rails", "sites", "frames", "shell", "envelope", "map", "path", "plan", "cones", "cut"])
def test_each_layer_shows_and_hides(scene, name):
    assert set(scene.makers) >= {"rails", "sites", "frames", "shell"}
    before = capture.pixels(scene)
    scene.show_layer(name, True)
    shown = capture.pixels(scene)
    assert (shown != before).any(axis=-1).sum() > 40
    scene.show_layer(name, False)
    assert np.array_equal(capture.pixels(scene), before)
    with pytest.raises(KeyError):
        scene.show_layer("nothing", True)


def test_the_plan_moves_its_people_and_cones_go_with_their_eyes(scene, small_run):
    for name, where in (("plan", np.s_[-90:, :260]), ("cones", np.s_[:])):
        scene.show_layer(name, True)
        pictures = []
        for time_s in (0.0, 300.0):
            scene.show(time_s)
            pictures.append(capture.pixels(scene)[where])
        assert (pictures[0] != pictures[1]).any(axis=-1).sum() > 10, name
        scene.show_layer(name, False)
    eye = scene.cameras.eyes[0]
    scene.show_layer("cones", True)
    scene.show(300.0)
    ends = vtk_to_numpy(scene._layers["cones"].solid[0].GetMapper().GetInput().GetPoints().GetData())
    apex = small_run[0].link_path(eye.link, [300.0])[0, :3, 3]
    assert np.allclose(ends[[0, 2, 4, 6]], apex, atol=1e-4)


def test_what_stands_before_a_gap_is_seen_through_until_time_goes_on(scene, small_run):
    record, _ = small_run
    row = record.tightest
    a, b = np.array(row.point_a), np.array(row.point_b)
    scene.show(row.time_s)
    middle, panel = (a + b) / 2, np.array([7.5, -1.0, 0.0])
    eye = panel + 3.0 * (panel - middle) / np.linalg.norm(panel - middle)  # behind a panel
    view = Viewpoint(tuple(eye), tuple(middle))
    scene.look(view)
    solid = capture.pixels(scene)
    scene.look(view, ((row.body_a, row.body_b), a, b))
    assert (capture.pixels(scene) != solid).any(axis=-1).sum() > 40
    scene.show(row.time_s + 1.0)
    scene.show(row.time_s)
    assert np.array_equal(capture.pixels(scene), solid)


def test_the_map_has_the_colour_of_how_near_the_run_comes(small_run):
    made = closest_map(small_run[0])
    scene = SceneActors(small_run[0], sides_within(OFF_M))
    actors = map_layer(small_run[0], scene).solid
    painted = np.concatenate([
        vtk_to_numpy(actor.GetMapper().GetInput().GetPointData().GetScalars())[::3] for actor in actors
    ])
    near = made.lower_m < MAP_REPORT_M
    assert len(painted) == near.sum()
    low = 0.0
    for limit, colour in MAP_BANDS_M:
        wanted = [round(255 * c) for c in palette.channels(colour)]
        band = (made.lower_m >= low) & (made.lower_m < limit)
        assert (painted == wanted).all(axis=1).sum() == band.sum()
        low = limit


def test_frames_go_with_what_they_belong_to(scene, small_run):
    record, _ = small_run
    scene.show_layer("frames", True)
    scene.show(300.0)
    lines = scene._layers["frames"].above[0].GetMapper().GetInput()
    k = frame_links(record).index("arm/tip")
    tip = record.link_path("arm/tip", 300.0)[0]
    ends = np.array([lines.GetPoint(6 * k + j) for j in range(6)])
    assert np.allclose(ends[::2], tip[:3, 3], atol=1e-4)
    assert np.allclose(ends[1::2] - ends[::2], 0.6 * tip[:3, :3].T, atol=1e-4)


def test_the_line_of_the_closest_pair_is_where_it_is_and_says_its_value(scene, small_run):
    record, _ = small_run
    time_s = record.tightest.time_s
    scene.show(time_s)
    nearest = Closest(record).at(time_s)
    scene.show_nearest(nearest)
    data = scene._line.actor.GetMapper().GetInput()
    assert np.allclose([data.GetPoint(0), data.GetPoint(1)], [nearest.point_a, nearest.point_b], atol=1e-4)
    assert scene._value.GetInput() == f"✕ {rounded_down(nearest.lower_m):.3f} m (0.300 m required)"
    assert not nearest.kept
    assert near(capture.pixels(scene), look.FAIL_TEXT).sum() > 20
    scene.show_nearest(Nearest(None))
    assert near(capture.pixels(scene), look.FAIL_TEXT).sum() == 0


def test_the_tint_follows_the_margin(scene, small_run):
    record, _ = small_run
    time_s = record.tightest.time_s
    scene.show(time_s)
    margins = Closest(record).at(time_s, parts=True).margin_m
    assert scene.tint.show(margins) >= len(margins)
    assert scene.tint.show(margins) == 0
    rows = {body.name: k for k, body in enumerate(record.bodies)}
    for name, colour in ((record.tightest.body_a, palette.VERMILLION), ("platform/module", look.REST)):
        assert (shown(scene, rows[name]) == [round(255 * c) for c in palette.channels(colour)]).all()
    plain = capture.pixels(scene)
    scene.tint.show(dict.fromkeys(margins, 1.0))
    assert (capture.pixels(scene) != plain).any()
    scene.tint.off()
    for row, own in enumerate(scene.scene.looks):
        if not record.bodies[row].name.startswith("ev1/"):  # a person has more than one colour
            assert (shown(scene, row) == [round(255 * c) for c in palette.channels(own.colour)]).all()


def shown(scene, row):
    """The colours of a body's vertices."""
    return np.concatenate([
        part.shown[inside] for part in scene.scene._parts for its, inside in part.slices() if its == row
    ])


def test_the_proven_bodies_of_people_are_shown_on_demand(scene, small_run):
    record, _ = small_run
    proven = sum(body.name.startswith("ev1/") for body in record.bodies)

    def visible(when):
        return sum(len(part.pieces) for part in scene.scene._parts if part.when == when and part.actor.GetVisibility())

    assert visible("proven") == 0 and visible("dress") > proven
    before = capture.pixels(scene)
    scene.scene.show_proven(True)
    assert visible("proven") == proven and visible("dress") == 0
    scene.scene.show_proven(False)
    assert np.array_equal(capture.pixels(scene), before)


def test_the_rider_sees_out_of_the_helmet(scene, small_run):
    record, _ = small_run
    assert scene.cameras.next_eye(1, True, 300.0)
    assert (scene.cameras.mode, scene.cameras.title) == ("ev1", "Eyes of ev1")
    scene.show(300.0)
    visor = record.link_path("ev1/visor", 300.0)[0]
    camera = scene.renderer.GetActiveCamera()
    assert np.allclose(camera.GetPosition(), visor[:3, 3], atol=1e-9)
    assert np.allclose(camera.GetDirectionOfProjection(), visor[:3, 0], atol=1e-9)
    # one sun gives a flat face one colour, and a thin tube has six
    assert len(np.unique(capture.pixels(scene).reshape(-1, 3), axis=0)) > 4


def test_the_corner_goes_through_all_eyes_and_cameras(scene, small_run):
    record, _ = small_run
    titles = [scene.corner.next(300.0) for _ in eyes(record)]
    assert set(titles) == {eye.title for eye in eyes(record)} and titles[-1] == "Eyes of ev1"


def test_the_riders_eyes_are_shown_in_the_corner(scene, small_run):
    scene.show(300.0)
    before = capture.pixels(scene)
    high, wide = before.shape[:2]
    scene.corner.show(True)
    scene.show(300.0)
    with_eyes = capture.pixels(scene)
    changed = (with_eyes != before).any(axis=-1)
    assert changed[: int(0.28 * high), int(0.73 * wide) :].mean() > 0.05
    assert not changed[:, : int(0.72 * wide)].any() and not changed[int(0.29 * high) :].any()
    camera = scene.corner._renderer.GetActiveCamera()
    assert np.allclose(camera.GetPosition(), small_run[0].link_path("ev1/visor", 300.0)[0][:3, 3])
    scene.corner.show(False)
    assert np.array_equal(capture.pixels(scene), before)


def test_cameras_follow_one_another(scene):
    assert scene.cameras.next_eye(1, False, 0.0) and scene.cameras.title == "Mast camera"
    assert scene.renderer.GetActiveCamera().GetViewAngle() == pytest.approx(40.0)
    assert scene.cameras.next_eye(-1, False, 0.0) and scene.cameras.title == "Mast camera"
    scene.cameras.choose("free", 0.0)
    assert scene.renderer.GetActiveCamera().GetViewAngle() == pytest.approx(32.0)
    with pytest.raises(KeyError):
        scene.cameras.choose("nobody", 0.0)


def test_following_keeps_its_distance_from_the_tip(scene, small_run):
    record, _ = small_run
    scene.cameras.choose("follow", 100.0)
    camera, away = scene.renderer.GetActiveCamera(), []
    for time_s in (100.0, 200.0, 330.0):
        scene.show(time_s)
        away.append(np.subtract(camera.GetPosition(), record.link_path("arm/tip", time_s)[0][:3, 3]))
    assert np.allclose(away, away[0], atol=1e-9)
    assert 4.0 <= np.linalg.norm(away[0]) <= 12.001


def test_orbit_turns_about_the_focus_and_stays_off_the_poles(scene):
    camera = scene.renderer.GetActiveCamera()
    focus, far = np.array(camera.GetFocalPoint()), camera.GetDistance()
    scene.cameras.orbit(3, 1)
    assert np.allclose(camera.GetFocalPoint(), focus) and camera.GetDistance() == pytest.approx(far)
    for _ in range(60):
        scene.cameras.orbit(0, 1)
    rise = np.arcsin((camera.GetPosition()[2] - focus[2]) / camera.GetDistance())
    assert rise == pytest.approx(1.45, abs=1e-6)
    scene.cameras.approach(2)
    assert camera.GetDistance() == pytest.approx(far / 1.12**2)


def test_eyes_are_not_turned_by_orbiting(scene):
    scene.cameras.choose("mast", 0.0)
    before = scene.renderer.GetActiveCamera().GetPosition()
    scene.cameras.orbit(1, 1)
    scene.cameras.approach(1)
    assert scene.renderer.GetActiveCamera().GetPosition() == before


def test_a_second_run_is_a_ghost_of_what_moves(open_scene, small_run):
    record, _ = small_run
    shifted = replace(record, motion=record.motion.shifted(0.0))
    scene = open_scene(shifted)
    ghosts = scene._ghost_actors()
    static = {k for k, group in enumerate(scene.ghost.groups) if not group.moves}
    assert ghosts and len(ghosts) < len(scene.ghost.actors) and static
    scene.show(200.0)
    scene.ghost.show(330.0)
    both = capture.pixels(scene)
    scene.show_ghost(False)
    assert (capture.pixels(scene) != both).any(axis=-1).sum() > 50
    assert np.allclose(scene.ghost.body_pose("ev1/helmet"), record.body_poses(330.0)[0][
        [body.name for body in record.bodies].index("ev1/helmet")])


def test_more_samples_at_rest(scene):
    scene.samples(QUICK)
    assert scene.samples(SHARP) and not scene.samples(SHARP)
    sharp = capture.pixels(scene)
    scene.samples(QUICK)
    quick = capture.pixels(scene)
    assert len(np.unique(sharp.reshape(-1, 3), axis=0)) > len(np.unique(quick.reshape(-1, 3), axis=0))


def test_thin_parts_have_fewer_corners():
    from armcarry.geometry.shapes import Capsule, Cylinder

    few = sides_within(4e-3)
    assert [few(Capsule(r, 1)) for r in (0.003, 0.05, 0.2, 0.5)] == [6, 8, 16, 24] and few(Cylinder(2.0, 1)) == 24
    for r in (0.06, 0.1, 0.2):  # as many as keep the middle of each side that near
        assert r * (1 - np.cos(np.pi / few(Capsule(r, 1)))) <= 4e-3 < r * (1 - np.cos(np.pi / (few(Capsule(r, 1)) - 2)))


def test_a_picture_has_its_caption_and_a_free_name(scene, small_run, tmp_path):
    session = Session(*small_run)
    session.seek(200.0)
    one = capture.save_picture(scene, session, tmp_path / "new")
    two = capture.save_picture(scene, session, tmp_path / "new")
    assert (one.name, two.name) == ("picture_0-03-20.png", "picture_0-03-20_2.png")
    with Image.open(one) as image:
        pixels = np.asarray(image)
    assert pixels.shape == (720, 1280, 3)  # a small view is drawn at twice its size
    band = near(pixels[-90:], palette.LIGHT, 40)
    assert band.sum() > 150


def test_a_picture_leaves_the_words_of_the_view_in_their_size(open_scene, small_run, tmp_path):
    session = Session(*small_run)
    session.seek(session.record.tightest.time_s)
    nearest = Closest(session.record).at(session.time_s)
    shown = []
    for with_picture in (False, True):
        fresh = open_scene()
        fresh.show(session.time_s)
        fresh.show_nearest(nearest)
        if with_picture:
            capture.save_picture(fresh, session, tmp_path)
        shown.append(capture.pixels(fresh))
    assert np.array_equal(*shown)


def test_a_movie_shows_the_stretch_and_stops_when_told(scene, small_run, tmp_path):
    ffmpeg = pytest.importorskip("imageio_ffmpeg")
    session = Session(*small_run)
    session.set_speed(60)
    assert len(capture.frame_times((90.0, 330.0), 60.0)) == 4 * 24 + 1
    told = []
    path = capture.save_movie(scene, session, tmp_path, (300.0, 330.0), scene.show,
                              lambda done, total: told.append((done, total)) or True)
    assert told[-1] == (13, 13) and path.name == "movie_0-05-00_0-05-30.mp4"
    command = [ffmpeg.get_ffmpeg_exe(), "-loglevel", "error", "-i", str(path), "-f", "rawvideo", "-pix_fmt", "rgb24"]
    raw = subprocess.run([*command, "-"], capture_output=True, check=True).stdout
    pictures = np.frombuffer(raw, dtype=np.uint8).reshape(-1, 360, 640, 3)
    assert len(pictures) == 13
    assert all(len(np.unique(picture.reshape(-1, 3), axis=0)) > 50 for picture in pictures)
    assert np.abs(pictures[0].astype(int) - pictures[-1]).max() > 60
    assert capture.save_movie(scene, session, tmp_path, (0.0, 30.0), scene.show, lambda done, total: done < 3) is None
    assert [p.name for p in tmp_path.iterdir()] == ["movie_0-05-00_0-05-30.mp4"]


def test_cameras_of_a_run_without_eyes(small_run):
    from vtkmodules.vtkRenderingCore import vtkCamera

    cameras = Cameras(small_run[0], vtkCamera())
    cameras.eyes = ()
    assert not cameras.next_eye(1, True, 0.0) and not cameras.next_eye(1, False, 0.0)
    assert [mode for mode, _ in cameras.choices] == ["free", "follow"]


def test_rooms_are_seen_while_they_ask_for_anything_and_go_with_their_frame(small_run, monkeypatch):
    record, _ = small_run
    ball = {"frame": "wing", "position": ["0 m", "0 m", "4 m"], "radius": "1.5 m"}
    box = {"frame": "mount", "box": ["4 m", "2 m", "2 m"]}
    rooms = {"hot_plate": Room.model_validate(ball | {"kind": "hot", "while_on": "heater"}),
             "lane": Room.model_validate(box | {"kind": "way_along"})}  # fmt: skip
    loaded = record.scene.loaded
    document = loaded.platform.document.model_copy(update={"rooms": rooms})
    platform = SimpleNamespace(**vars(loaded.platform) | {"document": document})
    loaded = SimpleNamespace(**vars(loaded) | {"platform": platform})
    with_rooms = replace(record, scene=replace(record.scene, loaded=loaded))
    spans = {"heater": [(100.0, 200.0)], None: [(0.0, record.duration_s)]}
    monkeypatch.setattr(kept_out, "on_spans", lambda record, what: spans[what])
    hot, lane = kept_out.drawn_rooms(with_rooms)
    assert (hot.words, lane.words) == ("hot plate: hot", "lane: way along") and hot.colour != lane.colour
    assert np.ptp(lane.surface.vertices_m, axis=0).tolist() == [4.0, 2.0, 2.0]  # itself, not the walls beside it
    assert hot.middle_m == pytest.approx([0.0, 0.0, 4.0])
    layer = overlays.rooms(with_rooms)
    for time_s, seen in ((50.0, 0), (150.0, 1), (250.0, 0)):
        layer.follow(time_s)
        assert [actor.GetVisibility() for actor in layer.solid] == [seen, 1]
        assert [actor.GetVisibility() for actor in layer.above] == [seen, 1]
    pose = with_rooms.link_path(hot.link, [250.0])[0]
    assert np.allclose([[layer.solid[0].GetUserMatrix().GetElement(k, n) for n in range(4)] for k in range(4)], pose)
    place = layer.above[0].GetPositionCoordinate().GetValue()
    assert np.allclose(place, pose[:3, :3] @ hot.middle_m + pose[:3, 3])
