"""The run as an MP4 movie: captions, chosen camera and speed, whole or in part."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from subprocess import DEVNULL, PIPE, Popen
from tempfile import TemporaryFile
from typing import NoReturn

import numpy as np

from armcarry.errors import ArmcarryError, InputError, MissingExtraError
from armcarry.files.atomic import writing
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.quantities import clock, parse
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM, VEHICLE
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.annotate import Pixels, Sheet
from armcarry.views.closest import Track, closest_track, kept, worded
from armcarry.views.doing import doing_at
from armcarry.views.eyes import eyes
from armcarry.views.stage import Stage
from armcarry.views.viewpoint import Viewpoint, overview, sight, whole

Tell = Callable[[str, float], None]

#: the two cameras that are not eyes of the scene
WHOLE, FOLLOW = "whole", "follow"
_FOLLOW_FROM_M = (4.5, -7.5, 4.0)
#: sides from which following is tried, and instants at which they are
_SIDES, _LOOKS = 16, 24


@dataclass(frozen=True)
class Cut:
    """A stretch of the run: from start_s to end_s, at ``speed`` times real time, through a camera.

    ``camera`` is ``whole``, ``follow``, a crewmember's name or a camera of the platform.
    """

    start_s: float
    end_s: float
    speed: float = 20.0
    camera: str = FOLLOW


def read_cut(text: str) -> Cut:
    """Read a cut from text: ``400 s to 480 s, 20x, ev1``; speed and camera may be left out.

    Raises:
        InputError: the text is not of that form.
    """
    accepted = "'400 s to 480 s, 20x, ev1': from, to, and if wanted speed and camera"
    match = re.fullmatch(r"\s*(.+?)\s+to\s+([^,]+?)\s*(?:,\s*([0-9.]+)\s*x)?\s*(?:,\s*([a-z][a-z0-9_]*))?\s*", text)
    try:
        if match is None:
            raise ValueError
        speed = float(match[3]) if match[3] else 20.0
    except ValueError:
        raise InputError("not a cut of a movie", found=text, accepted=accepted) from None
    return Cut(parse(match[1], "time"), parse(match[2], "time"), speed, match[4] or FOLLOW)


def whole_run(record: Record, length_s: float = 60.0, camera: str = FOLLOW) -> tuple[Cut, ...]:
    """Return one cut of the whole run that lasts so long, but is no slower than real time."""
    speed = max(record.motion.duration_s / length_s, 1.0)
    return (Cut(record.motion.start_s, record.motion.end_s, speed, camera),)


def write_movie(
    record: Record,
    path: Path,
    cuts: tuple[Cut, ...] | None = None,
    *,
    size: tuple[int, int] = (1280, 720),
    frames_per_s: int = 24,
    samples: int = 0,
    tell: Tell | None = None,
) -> Path:
    """Write an MP4 (H.264, yuv420p, plays everywhere) and return its path.

    Args:
        record: the run.
        path: the file to write.
        cuts: what to show, in order; the whole run in a minute when left out.
        size: width and height, both even.
        frames_per_s: of the movie.
        samples: of anti-aliasing; 4 looks better and takes three times as long.
        tell: told what is being done and the share done.

    Raises:
        MissingExtraError: imageio-ffmpeg is not installed.
        InputError: a cut lies outside the run or names a camera that is not there.
        ArmcarryError: nothing can be drawn on this machine, or the movie could not be written.
    """
    cuts = whole_run(record) if cuts is None else cuts
    say = tell or (lambda words, share: None)
    instants = [_instants(record, cut, frames_per_s) for cut in cuts]
    total = sum(map(len, instants))
    with Stage(record, size, samples) as stage, _Encoder(path, size, frames_per_s) as encoder:
        done = 0
        for cut, times in zip(cuts, instants, strict=True):
            for pixels in _frames(record, stage, cut, times):
                encoder.write(pixels)
                done += 1
                if done % 8 == 0 or done == total:
                    say(f"movie, frame {done} of {total}", done / total)
    return path


def _instants(record: Record, cut: Cut, frames_per_s: int) -> Array:
    """Return the times of a cut's frames, its last instant included; refuse what cannot be shown."""
    if not record.motion.start_s <= cut.start_s < cut.end_s <= record.motion.end_s or not cut.speed > 0:
        raise InputError(
            "a cut must lie inside the run and have a speed above 0",
            found=f"{cut.start_s:g} s to {cut.end_s:g} s at {cut.speed:g}x",
            accepted=f"{record.motion.start_s:g} s to {record.motion.end_s:g} s",
        )
    names = [WHOLE, FOLLOW, *(eye.name for eye in eyes(record))]
    if cut.camera not in names:
        raise InputError("no such camera", found=cut.camera, accepted=", ".join(names))
    count = max(int(np.ceil((cut.end_s - cut.start_s) / cut.speed * frames_per_s)) + 1, 2)
    return np.linspace(cut.start_s, cut.end_s, count)


def _frames(record: Record, stage: Stage, cut: Cut, times: Array) -> Iterator[Pixels]:
    views = camera_path(record, cut.camera, times, stage.size[0] / stage.size[1])
    track = closest_track(record, times)
    for k, (time_s, view) in enumerate(zip(times, views, strict=True)):
        stage.show(float(time_s))
        stage.look(view)
        sheet = Sheet(stage.shot())
        _gap(record, stage, sheet, track, k)
        _caption(record, sheet, float(time_s), cut.speed)
        yield sheet.pixels()


def camera_path(record: Record, camera: str, times_s: Array, aspect: float) -> list[Viewpoint]:
    """Return where the camera is at each instant."""
    if camera == WHOLE:
        return [overview(whole(record), aspect)] * len(times_s)
    if camera == FOLLOW:
        places = _smooth(_tool(record, times_s))
        off = _follow_from(record, times_s, places)
        return [Viewpoint(_triple(place + off), _triple(place)) for place in places]
    eye = next(each for each in eyes(record) if each.name == camera)
    path = record.link_path(eye.link, times_s)
    ahead = poses.apply(path, np.array([5.0, 0.0, 0.0]))
    return [
        Viewpoint(_triple(pose[:3, 3]), _triple(focus), _triple(pose[:3, 2]), eye.vertical_rad)
        for pose, focus in zip(path, ahead, strict=True)
    ]


def _follow_from(record: Record, times_s: Array, places: Array) -> Array:
    """Return from which side (3,), the same all along, most of the tool and its rider is seen, metres off.

    The sides are tried at a few instants; of sides as good as one another the one nearest to our usual is taken.
    """
    far, height = float(np.hypot(*_FOLLOW_FROM_M[:2])), _FOLLOW_FROM_M[2]
    turn = np.arctan2(_FOLLOW_FROM_M[1], _FOLLOW_FROM_M[0]) + np.linspace(0, 2 * np.pi, _SIDES, endpoint=False)
    sides = np.stack([far * np.cos(turn), far * np.sin(turn), np.full(_SIDES, height)], axis=1)
    looks = np.unique(np.linspace(0, len(times_s) - 1, _LOOKS).astype(int))
    # what is followed does not hide itself: only what it passes counts
    own = [body.name for body in record.bodies if not body.name.startswith((f"{PLATFORM}/", f"{VEHICLE}/"))]
    seen = np.zeros(_SIDES)
    for k in looks:
        points = places[k] + np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 0.8], [0.0, 0.0, 1.5], [0.0, 0.0, -0.5]])
        seen += sight(record, float(times_s[k]), points, places[k] + sides, own)
    away = np.abs(np.angle(np.exp(1j * (turn - turn[0]))))
    return np.asarray(sides[int(np.argmax(seen / len(looks) - 0.02 * away))])


def _tool(record: Record, times_s: Array) -> Array:
    """Return the place (T, 3) of the point that moves steer."""
    place = np.empty((len(times_s), 3))
    for phase in record.phases:
        inside = (times_s >= phase.start_s) & (times_s <= phase.end_s)
        place[inside] = record.link_path(record.scene.tool(phase.tree), times_s[inside])[:, :3, 3]
    return place


def _smooth(places: Array, width: int = 25) -> Array:
    """Return a moving mean (T, 3), ends held, so that the camera does not jerk at the corners of a path."""
    half = min(width, len(places)) // 2
    padded = np.concatenate([np.repeat(places[:1], half, 0), places, np.repeat(places[-1:], half, 0)])
    window = np.ones(2 * half + 1) / (2 * half + 1)
    return np.stack([np.convolve(padded[:, k], window, mode="valid") for k in range(3)], axis=1)


def _gap(record: Record, stage: Stage, sheet: Sheet, track: Track, k: int) -> None:
    """Draw the line between the closest pair when both its ends are in the picture."""
    if track.row[k] < 0:
        return
    row = record.pairs[track.row[k]]
    ends = np.stack([track.point_a[k], track.point_b[k]])
    short = not kept(row, float(track.lower_m[k]))
    colour = palette.VERMILLION if short else palette.BLUISH_GREEN
    if np.all(stage.in_view(list(ends))):
        (a, b), _ = stage.pixels(ends)
        sheet.line(a, b, colour)
        sheet.label((a + b) / 2, f"{'✕' if short else '✓'} {worded(row, float(track.lower_m[k]))}", colour, 1.1)
    else:
        sheet.title(f"{'✕' if short else '✓'} {worded(row, float(track.lower_m[k]))}",
                    f"closest pair: {plain(row.body_a)} – {plain(row.body_b)}")


def _caption(record: Record, sheet: Sheet, time_s: float, speed: float) -> None:
    move = record.move_at(time_s)
    say = "" if move is None else move.say or plain(move.title)
    doing = doing_at(record, time_s) or ("" if move is None else f"{plain(move.carry)}: {plain(move.title)}")
    name = f" · {doing}" if doing else ""
    sheet.caption([say, f"{clock(time_s - record.motion.start_s)} · {speed:.3g}×{name}"])


def _triple(point: Array) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])


class _Encoder:
    """ffmpeg at the other end of a pipe; the file appears whole at the end or not at all."""

    def __init__(self, path: Path, size: tuple[int, int], frames_per_s: int) -> None:
        try:
            from imageio_ffmpeg import get_ffmpeg_exe
        except ImportError as error:
            raise MissingExtraError("imageio-ffmpeg", "view", "writing a movie") from error
        self._path, self._place = path, ExitStack()
        self._command = [
            get_ffmpeg_exe(), "-y", "-loglevel", "error", "-f", "rawvideo", "-pix_fmt", "rgb24",
            "-s", f"{size[0]}x{size[1]}", "-r", str(frames_per_s), "-i", "-", "-an", "-c:v", "libx264",
            "-preset", "veryfast", "-crf", "21", "-pix_fmt", "yuv420p", "-movflags", "+faststart",
        ]

    def __enter__(self) -> _Encoder:
        place = self._place.enter_context(writing(self._path))
        self._log = self._place.enter_context(TemporaryFile())
        command = [*self._command, str(place)]
        self._ffmpeg = Popen(command, stdin=PIPE, stdout=DEVNULL, stderr=self._log)  # noqa: S603 - our own words
        return self

    def write(self, pixels: Pixels) -> None:
        assert self._ffmpeg.stdin is not None  # noqa: S101 - opened with a pipe
        try:
            self._ffmpeg.stdin.write(np.ascontiguousarray(pixels).tobytes())
        except OSError:
            self._refuse()

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        with contextlib.suppress(OSError):  # ffmpeg may be gone; its status says so
            self._ffmpeg.communicate()
        with self._place:  # what is raised here, or was before, throws the file away
            if error is not None:
                raise error
            if self._ffmpeg.returncode != 0:
                self._refuse()

    def _refuse(self) -> NoReturn:
        self._ffmpeg.wait(timeout=30)
        self._log.seek(0)
        said = self._log.read().decode(errors="replace").strip().splitlines()
        raise ArmcarryError(f"cannot write {self._path}: {said[-1] if said else 'the encoder stopped'}")


__all__ = ["FOLLOW", "WHOLE", "Cut", "camera_path", "whole_run", "write_movie"]
