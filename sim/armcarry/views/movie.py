"""The run as an MP4 movie: captions, chosen camera and speed, whole or in part."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path
from subprocess import DEVNULL, PIPE, Popen
from tempfile import TemporaryFile
from typing import NoReturn

import numpy as np

from armcarry.errors import ArmcarryError, InputError, MissingExtraError
from armcarry.files.atomic import writing
from armcarry.geometry.poses import Array
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.views.annotate import Pixels
from armcarry.views.cuts import FOLLOW, WHOLE, Cut, chapters
from armcarry.views.daylight import Level
from armcarry.views.eyes import eyes
from armcarry.views.filming import Frames

Tell = Callable[[str, float], None]


#: chapters that tell the run itself
_TOLD = ("move", "hold")


def write_movie(
    record: Record,
    path: Path,
    cuts: tuple[Cut, ...] | None = None,
    *,
    findings: Sequence[Finding] = (),
    size: tuple[int, int] = (1280, 720),
    frames_per_s: int = 16,
    level: Level = Level.PLAIN,
    tell: Tell | None = None,
) -> Path:
    """Write an MP4 (H.264, yuv420p, plays everywhere) and return its path.

    Args:
        record: the run.
        path: the file to write.
        cuts: what to show, in order; the film of the run by chapters when left out.
        findings: what the verdict at the end counts.
        size: width and height, both even.
        frames_per_s: of the movie.
        level: how much is spent on a frame; ``fine`` takes several times as long as ``plain``.
        tell: told what is being done and the share done.

    Raises:
        MissingExtraError: imageio-ffmpeg is not installed.
        InputError: a cut lies outside the run or names a camera that is not there.
        ArmcarryError: nothing can be drawn on this machine, or the movie could not be written.
    """
    cuts = chapters(record, findings) if cuts is None else cuts
    say = tell or (lambda words, share: None)
    instants = [_instants(record, cut, frames_per_s) for cut in cuts]
    total = sum(map(len, instants))
    with Frames(record, findings, size, level) as frames, _Encoder(path, size, frames_per_s) as encoder:
        done = 0
        for shot in _shots(cuts, instants):
            for pixels in frames.shot(shot):
                encoder.write(pixels)
                done += 1
                if done % 8 == 0 or done == total:
                    say(f"movie, frame {done} of {total}", done / total)
    return path


def _shots(cuts: tuple[Cut, ...], instants: list[Array]) -> list[list[tuple[Cut, Array]]]:
    """Return cuts that go on through the same camera together, so that it moves through all of them smoothly."""
    shots: list[list[tuple[Cut, Array]]] = []
    for cut, times in zip(cuts, instants, strict=True):
        before = shots[-1][-1][0] if shots else cut
        told = bool(shots) and before.kind in _TOLD and cut.kind in _TOLD
        if told and before.camera == cut.camera and before.end_s == cut.start_s:
            shots[-1].append((cut, times))
        else:
            shots.append([(cut, times)])
    return shots


def _instants(record: Record, cut: Cut, frames_per_s: int) -> Array:
    """Return the times of a cut's frames, its last instant included; refuse what cannot be shown."""
    if not record.motion.start_s <= cut.start_s < cut.end_s <= record.motion.end_s or not cut.speed > 0:
        raise InputError(
            "a cut must lie inside the run and have a speed above 0",
            found=f"{cut.start_s:g} s to {cut.end_s:g} s at {cut.speed:g}x",
            accepted=f"{record.motion.start_s:g} s to {record.motion.end_s:g} s",
        )
    names = [WHOLE, FOLLOW, *(eye.name for eye in eyes(record))]
    if cut.camera not in names and cut.row is None:
        raise InputError("no such camera", found=cut.camera, accepted=", ".join(names))
    count = max(round(cut.length_s * frames_per_s), 2)
    return np.linspace(cut.start_s, cut.end_s, count)


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
            "-preset", "veryfast", "-crf", "21", "-threads", "1", "-pix_fmt", "yuv420p", "-movflags", "+faststart",
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
