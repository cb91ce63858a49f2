import re
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.errors import ArmcarryError, InputError, MissingExtraError
from armcarry.views import filming, gl, palette
from armcarry.views import stage as stage_module
from armcarry.views.cuts import FOLLOW, WHOLE, Cut, chapters, whole_run
from armcarry.views.daylight import Daylight, Level
from armcarry.views.eyes import eyes
from armcarry.views.filming import Frames, camera_path, turned_path
from armcarry.views.movie import _shots, write_movie
from armcarry.views.stage import Stage
from armcarry.views.viewpoint import sight

needs_gl = pytest.mark.skipif(gl.problem() is not None, reason="no OpenGL here")


def decoded(path):
    """The size, frames a second, codec and frames (n, h, w, 3) of a movie, by ffmpeg itself."""
    exe = pytest.importorskip("imageio_ffmpeg").get_ffmpeg_exe()
    told = subprocess.run([exe, "-hide_banner", "-i", str(path)], capture_output=True, text=True, check=False).stderr
    codec, wide, tall, rate = re.search(r"Video: (\w+).*?, (\d+)x(\d+).*?, ([\d.]+) fps", told).groups()
    raw = subprocess.run(
        [exe, "-loglevel", "error", "-i", str(path), "-f", "rawvideo", "-pix_fmt", "rgb24", "-"],
        capture_output=True, check=True,
    ).stdout
    frames = np.frombuffer(raw, np.uint8).reshape(-1, int(tall), int(wide), 3).astype(int)
    return (int(wide), int(tall)), float(rate), codec, frames


@needs_gl
def test_the_movie_has_its_frames_its_size_and_something_to_see(small_run, tmp_path):
    pytest.importorskip("imageio_ffmpeg")
    told = []
    cuts = (Cut(0.0, 120.0, 100.0, WHOLE), Cut(440.0, 470.0, 60.0, FOLLOW), Cut(200.0, 230.0, 60.0, "ev1"))
    path = write_movie(small_run[0], tmp_path / "run.mp4", cuts, size=(480, 270), frames_per_s=10,
                       tell=lambda words, share: told.append(share))
    size, rate, codec, frames = decoded(path)
    # 1.2 s, 0.5 s and 0.5 s of movie at 10 frames a second, each with its last instant
    assert len(frames) == 12 + 5 + 5
    assert (size, rate, codec) == ((480, 270), 10.0, "h264")
    assert told[-1] == 1.0 and told == sorted(told)
    ground = np.array(palette.channels(palette.ROOM)) * 255
    for frame in frames:
        assert (np.abs(frame - ground).sum(axis=2) > 60).mean() > 0.015
    assert np.abs(frames[0] - frames[11]).mean() > 0.3  # things move
    assert np.abs(frames[11] - frames[12]).mean() > 3  # and the camera changes
    assert [p.name for p in tmp_path.iterdir()] == ["run.mp4"]


@needs_gl
def test_a_movie_that_cannot_be_written_leaves_nothing(small_run, tmp_path):
    pytest.importorskip("imageio_ffmpeg")
    with pytest.raises(ArmcarryError, match="cannot write"):
        write_movie(small_run[0], tmp_path / "no folder" / "run.mp4", (Cut(0, 100, 10),), size=(160, 90))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("cut", "message"),
    [
        (Cut(10.0, 5.0), "a cut must lie inside the run .* found '10 s to 5 s at 20x'; accepted: 0 s to 540 s"),
        (Cut(0.0, 999.0), "a cut must lie inside the run"),
        (Cut(0.0, 5.0, 0.0), "speed above 0"),
        (Cut(0.0, 5.0, 1.0, "moon"), "no such camera; found 'moon'; accepted: whole, follow, ev1, mast"),
    ],
)
def test_a_cut_that_cannot_be_shown_is_refused(small_run, tmp_path, cut, message):
    with pytest.raises(InputError, match=message):
        write_movie(small_run[0], tmp_path / "run.mp4", (cut,))


@needs_gl
def test_without_the_encoder_it_says_what_to_type(small_run, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    with pytest.raises(MissingExtraError, match=r"writing a movie needs imageio-ffmpeg.*armcarry\[view\]"):
        write_movie(small_run[0], tmp_path / "run.mp4", (Cut(0, 10, 10),), size=(160, 90))


def test_cameras_are_where_they_are_said_to_be(small_run):
    record, _ = small_run
    times = np.linspace(0, 540, 200)
    for name in ("ev1", "mast"):
        eye = next(each for each in eyes(record) if each.name == name)
        path = record.link_path(eye.link, times)
        for k, view in enumerate(camera_path(record, name, times, 16 / 9)):
            assert np.allclose(view.eye_m, path[k, :3, 3])
            assert np.allclose(np.subtract(view.focus_m, view.eye_m) / 5, path[k, :3, 0])
    followed = np.array([view.focus_m for view in camera_path(record, FOLLOW, times, 16 / 9)])
    tool = record.link_path("restraint/plate", times)[:, :3, 3]
    assert np.linalg.norm(followed - tool, axis=1).max() < 2.0
    assert np.abs(np.diff(followed, n=2, axis=0)).max() < np.abs(np.diff(tool, n=2, axis=0)).max()


def test_the_camera_follows_from_the_side_that_sees_most(small_run):
    record, _ = small_run
    times = np.linspace(0, 540, 60)
    views = camera_path(record, FOLLOW, times, 16 / 9)
    off = np.subtract(views[0].eye_m, views[0].focus_m)
    assert all(np.allclose(np.subtract(view.eye_m, view.focus_m), off) for view in views)  # it does not swing round

    own = [body.name for body in record.bodies if not body.name.startswith("platform/")]

    def share(side):
        seen = [sight(record, t, np.add(view.focus_m, (0, 0, 0.8))[None], np.add(view.focus_m, side)[None], own)[0]
                for t, view in zip(times[::6], views[::6], strict=True)]
        return np.mean(seen)

    turned = [np.array([np.hypot(*off[:2]) * np.cos(a), np.hypot(*off[:2]) * np.sin(a), off[2]])
              for a in np.linspace(0, 2 * np.pi, 12)]
    assert share(off) >= max(map(share, turned)) - 0.15 and share(off) > 0.5


def test_the_whole_run_is_shown_in_the_length_asked_for(small_run):
    (cut,) = whole_run(small_run[0], 60.0)
    assert (cut.start_s, cut.end_s, cut.speed) == (0.0, 540.0, 9.0)
    assert whole_run(small_run[0], 3600.0)[0].speed == 1.0


def test_the_film_tells_the_run_by_chapters(small_run):
    record, findings = small_run
    film = chapters(record, findings)
    assert (film[0].kind, film[-1].kind) == ("opening", "verdict")
    told = [cut for cut in film if cut.kind in ("move", "hold")]
    moves = [move for move in record.moves if move.end_s > move.start_s]
    assert [(cut.start_s, cut.end_s) for cut in told] == [(move.start_s, move.end_s) for move in moves]
    for cut, move in zip(told, moves, strict=True):
        ends = record.motion.at(np.linspace(move.start_s, move.end_s, 5)[1:-1])
        assert (cut.kind == "hold") == (np.ptp(ends, axis=0).max() < 1e-9)
        if cut.kind == "hold":
            assert cut.length_s <= 1.5 + 1e-9
    tight = [cut for cut in film if cut.kind == "tight"]
    assert tight and all(cut.speed == 1.0 and cut.start_s <= cut.row.time_s <= cut.end_s for cut in tight)
    assert record.tightest in [cut.row for cut in tight]
    assert sum(cut.length_s for cut in film) < 75
    assert all(record.motion.start_s <= cut.start_s < cut.end_s <= record.motion.end_s for cut in film)


def test_the_camera_goes_on_smoothly_through_cuts_that_follow_one_another(small_run):
    record, _ = small_run
    film = chapters(record)
    shots = _shots(film, [np.linspace(cut.start_s, cut.end_s, 20) for cut in film])
    assert [cut for shot in shots for cut, _ in shot] == list(film)
    for shot in shots:
        assert len({cut.camera for cut, _ in shot}) == 1
        assert all(before.end_s == after.start_s for (before, _), (after, _) in pairwise(shot))
    assert len(shots) < len(film)


@needs_gl
def test_frames_of_each_chapter_show_what_they_are_about(small_run):
    record, findings = small_run
    film = {cut.kind: cut for cut in chapters(record, findings)}
    seen = {}
    with Frames(record, findings, (480, 270), Level.PLAIN) as frames:
        for kind in ("opening", "move", "tight", "verdict"):
            cut = film[kind]
            *_, seen[kind] = frames.shot([(cut, np.linspace(cut.start_s, cut.end_s, 2))])
    panel = np.array([round(255 * part) for part in palette.channels(palette.PANEL)])

    def of_map(picture):
        return (np.abs(picture[:60, -110:].astype(int) - panel).max(axis=2) < 4).mean()

    assert of_map(seen["move"]) > 0.2 > 0.02 > of_map(seen["opening"])
    white = np.abs(seen["tight"].astype(int) - 244).max(axis=2) < 60
    assert white.sum() > 300  # the two bodies are marked
    assert not np.array_equal(seen["opening"], seen["verdict"])


@needs_gl
@pytest.mark.parametrize(("kind", "turned_deg", "each"), [("hold", 0.4, 3), ("hold", 0.0, 18), ("move", 0.0, 1)])
def test_a_picture_serves_until_something_moves_or_the_sun_has_turned_a_degree(
    small_run, monkeypatch, kind, turned_deg, each
):
    record, findings = small_run
    # in the first hold something is taken in hand, in the last nothing happens
    cut = [replace(cut, camera=FOLLOW) for cut in chapters(record, findings) if cut.kind == kind][-1]
    times = np.linspace(cut.start_s + 0.1, cut.end_s - 0.1, 18)
    draw, drawn = Stage.shot, []

    def light(_record, time_s):
        turned = np.radians(turned_deg) * (time_s - times[0]) / (times[1] - times[0])
        sun = np.array([np.cos(turned), np.sin(turned), 0.0])
        return Daylight(sun, 1.0, np.array([0.0, 0.0, -1.0]), 1.1, np.eye(3))

    monkeypatch.setattr(filming, "daylight", light)
    monkeypatch.setattr(stage_module, "daylight", light)
    monkeypatch.setattr(Stage, "shot", lambda stage: drawn.append(stage.size) or draw(stage))
    with Frames(record, findings, (480, 270), Level.PLAIN) as frames:
        assert len([*frames.shot([(cut, times)])]) == 18
    assert drawn.count((480, 270)) == -(-18 // each)
    # the eyes of a rider, if there is one, in every other frame
    assert len(drawn) - drawn.count((480, 270)) in (0, {1: 9, 3: 5, 18: 1}[each])


def test_lights_are_alike_while_nobody_sees_the_difference():
    day = Daylight(np.array([1.0, 0.0, 0.0]), 1.0, np.zeros(3), 1.1, np.eye(3))
    assert filming._alike(None, None) and not filming._alike(day, None)
    assert filming._alike(day, replace(day, share=0.985)) and not filming._alike(day, replace(day, share=0.97))


@needs_gl
def test_what_is_nearer_than_a_view_begins_is_not_drawn(small_run):
    record, _ = small_run
    (view,) = camera_path(record, WHOLE, np.zeros(1), 16 / 9)
    far = np.linalg.norm(np.subtract(view.eye_m, view.focus_m))
    with Stage(record, (160, 90), Level.PLAIN) as stage:
        stage.show(0.0)
        ground = np.array(palette.channels(palette.ROOM)) * 255
        shown = []
        for nearest_m in (0.0, 2.0 * far):
            stage.look(replace(view, nearest_m=nearest_m))
            shown.append((np.abs(stage.shot() - ground).sum(axis=2) > 30).mean())
    assert shown[0] > 0.01 and shown[1] == 0.0


def test_a_camera_of_the_platform_turns_to_the_tool(small_run):
    record, _ = small_run
    wide = dict(record.scene.loaded.platform.document.cameras)
    mast = wide["mast"].model_copy(update={"pan": (-3.0, 3.0), "tilt": (-1.5, 1.5)})
    times = np.linspace(0, 540, 800)  # the head follows smoothly, over 25 frames
    still = turned_path(record, "mast", times)
    assert all(np.allclose(view.focus_m, still[0].focus_m) for view in still)  # this one has no head that turns
    document = record.scene.loaded.platform.document.model_copy(update={"cameras": {"mast": mast}})
    loaded = SimpleNamespace(**vars(record.scene.loaded))
    loaded.platform = SimpleNamespace(document=document, model=loaded.platform.model, path=loaded.platform.path)
    other = replace(record, scene=replace(record.scene, loaded=loaded))
    tool = record.link_path("restraint/plate", times)[:, :3, 3]
    for view, place in zip(turned_path(other, "mast", times), tool, strict=True):
        ahead, way = np.subtract(view.focus_m, view.eye_m), place - view.eye_m
        angle = np.arccos(ahead @ way / np.linalg.norm(ahead) / np.linalg.norm(way))
        assert angle < view.view_rad / 2
