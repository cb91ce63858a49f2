"""The frames of a movie: the camera of each instant, the closest pair, captions, a map and a rider's eyes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace

import numpy as np

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import PairRow, Record
from armcarry.scene.build import PLATFORM, VEHICLE
from armcarry.scene.camera import head_pose, look
from armcarry.scene.eyes import scene_cameras
from armcarry.scene.words import plain
from armcarry.seeing.sight import watch
from armcarry.views import palette
from armcarry.views.annotate import Pixels, Sheet
from armcarry.views.closest import Track, closest_track, kept, worded
from armcarry.views.cuts import FOLLOW, WHOLE, Cut
from armcarry.views.daylight import Daylight, Level, daylight
from armcarry.views.doing import doing_at
from armcarry.views.eyes import Eye, eyes
from armcarry.views.hooked import hands_at, hands_table, tether_ends_m
from armcarry.views.inset import Inset
from armcarry.views.stage import Stage
from armcarry.views.viewpoint import Viewpoint, about_gap, overview, screens, sight, towards_gap, whole
from armcarry.views.words import counted

_FOLLOW_FROM_M = (4.5, -7.5, 4.0)
#: sides from which following is tried, and instants at which they are
_SIDES, _LOOKS = 16, 24


#: the opening begins so much farther away, and the camera turns so far about a gap, radians
_FROM_AFAR, _SWING_RAD = 1.35, 0.14
#: share of the picture's width that the map and the picture in the picture take
_MAP, _IN_PICTURE = 0.2, 0.24
#: so much is seen about the tool by a camera of the platform, m
_ABOUT_M = 6.0
#: while nothing moves, a picture serves until the sun has turned so far, radians, or so much more or less of it is seen
_TURNED_RAD, _SEEN, _SAME_DIGITS = np.radians(1.0), 0.02, 7
#: findings named with the verdict
_NAMED = 3


@dataclass
class _Drawn:
    """A picture, of what, and in which light."""

    still: tuple[int, bytes]
    day: Daylight | None
    pixels: Pixels


class Frames:
    """Draws frames; use it in a ``with`` block."""

    def __init__(self, record: Record, findings: Sequence[Finding], size: tuple[int, int], level: Level) -> None:
        """Open the stage. Raises ArmcarryError where nothing can be drawn."""
        self.record, self.findings = record, findings
        self._open = ExitStack()
        self._stage = self._open.enter_context(Stage(record, size, level))
        self._size = size
        self._map = Inset(record, int(_MAP * size[0]))
        self._eyes = [eye for eye in eyes(record) if eye.name in record.scene.loaded.crew]
        self._small: Stage | None = None
        self._small_s = 0.0
        self._drawn: dict[str, _Drawn] = {}

    def __enter__(self) -> Frames:
        """Return it."""
        return self

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        """Close what was opened."""
        self._open.close()

    def shot(self, cuts: Sequence[tuple[Cut, Array]]) -> Iterator[Pixels]:
        """Yield the frames of cuts that follow one another through one camera, each with its instants."""
        times = np.concatenate([instants for _, instants in cuts])
        views = self._views(cuts[0][0], times)
        row = cuts[0][0].row
        number = None if row is None else self.record.table.number(row)
        track = closest_track(
            self.record, times, None if number is None else lambda table: np.arange(len(table)) == number
        )
        which = np.repeat(np.arange(len(cuts)), [len(instants) for _, instants in cuts])
        self._drawn.clear()
        if row is not None:
            self._stage.mark({row.body_a: palette.LIGHT, row.body_b: palette.LIGHT})
            self._stage.see_through(_before(self.record, row, views))
        for k, (time_s, view) in enumerate(zip(times, views, strict=True)):
            yield self._frame(cuts[which[k]][0], float(time_s), view, track, k)
        if row is not None:
            self._stage.see_through(())
            self._stage.mark({})

    def _frame(self, cut: Cut, time_s: float, view: Viewpoint, track: Track, k: int) -> Pixels:
        sheet = Sheet(self._picture("main", self._stage, time_s, view))
        if cut.kind == "opening":
            sheet.title(cut.title, self.record.scene.loaded.scenario.purpose)
            return sheet.pixels()
        if cut.kind == "verdict":
            _verdict(sheet, self.findings)
            return sheet.pixels()
        if cut.kind:
            sheet.corner(self._map.at(time_s), "top right")
        rider = self._rider(time_s) if cut.kind in ("move", "hold") else None
        if rider is not None and rider.name != cut.camera:
            # small, so that twelve pictures a second are as good as all
            at = time_s if k % 2 == 0 or "small" not in self._drawn else self._small_s
            self._small_s = at
            sheet.corner(self._through(rider, at), "below it", rider.title)
        _gap(self.record, self._stage, sheet, track, k)
        _caption(self.record, sheet, time_s, cut)
        return sheet.pixels()

    def _rider(self, time_s: float) -> Eye | None:
        """Return the eyes of whoever rides the arm."""
        phase = self.record.phase_at(time_s)
        riding = {
            body.name.split("/", 1)[0]
            for body, kind in zip(self.record.bodies, self.record.scene.body_classes(phase.tree), strict=True)
            if kind == "rider"
        }
        return next((eye for eye in self._eyes if eye.name in riding), None)

    def _through(self, eye: Eye, time_s: float) -> Pixels:
        """Return what an eye sees, small."""
        if self._small is None:
            size = tuple(int(_IN_PICTURE * side) for side in self._size)
            self._small = self._open.enter_context(Stage(self.record, (size[0], size[1]), Level.PLAIN))
        view = camera_path(self.record, eye.name, np.array([time_s]), 16 / 9)[0]
        return self._picture("small", self._small, time_s, view)

    def _picture(self, name: str, stage: Stage, time_s: float, view: Viewpoint) -> Pixels:
        """Draw a picture; the last one serves again where nothing has changed but, too little to be seen, the light."""
        record = self.record
        numbers = (*view.eye_m, *view.focus_m, *view.up, view.view_rad, *record.motion.at(time_s),
                   *tether_ends_m(record, time_s).ravel())  # fmt: skip
        still = (id(record.phase_at(time_s)), (np.round(numbers, _SAME_DIGITS) + 0.0).tobytes())
        drawn = self._drawn.get(name)
        if drawn is None or drawn.still != still or not _alike(drawn.day, daylight(record, time_s)):
            stage.show(time_s)
            stage.look(view)
            pixels = stage.shot()
            drawn = self._drawn[name] = _Drawn(still, stage.day, pixels)
        return drawn.pixels

    def _views(self, cut: Cut, times: Array) -> list[Viewpoint]:
        aspect = self._size[0] / self._size[1]
        if cut.row is not None:
            row = cut.row
            still = towards_gap(self.record, row.time_s, (row.body_a, row.body_b), row.point_a, row.point_b)
            return [_swung(still, share * _SWING_RAD) for share in np.linspace(-0.5, 0.5, len(times))]
        turned = cut.kind != "" and cut.camera not in (WHOLE, FOLLOW, *self.record.scene.loaded.crew)
        if turned:
            return turned_path(self.record, cut.camera, times)
        views = camera_path(self.record, cut.camera, times, aspect)
        if cut.kind == "opening":
            share = np.linspace(0.0, 1.0, len(times))
            far = _FROM_AFAR + (1 - _FROM_AFAR) * share * share * (3 - 2 * share)
            views = [_nearer(view, factor) for view, factor in zip(views, far, strict=True)]
        return views


def _before(record: Record, row: PairRow, views: Sequence[Viewpoint]) -> set[str]:
    """Return what is to be seen through while a gap is shown from all of some views."""
    gap = about_gap(np.asarray(row.point_a), np.asarray(row.point_b))
    return {
        name for view in (views[0], views[len(views) // 2], views[-1])
        for name in screens(record, row.time_s, (row.body_a, row.body_b), gap, view.eye_m)
    }


def _alike(one: Daylight | None, other: Daylight | None) -> bool:
    """Tell whether two lights are too much alike for a picture to show the difference."""
    if one is None or other is None:
        return one is other
    return bool(one.sun @ other.sun > np.cos(_TURNED_RAD) and abs(one.share - other.share) < _SEEN)


def _nearer(view: Viewpoint, factor: float) -> Viewpoint:
    eye, focus = np.array(view.eye_m), np.array(view.focus_m)
    return replace(view, eye_m=_triple(focus + factor * (eye - focus)))


def _swung(view: Viewpoint, angle_rad: float) -> Viewpoint:
    """Return a view turned about the vertical through what it looks at."""
    eye, focus = np.array(view.eye_m), np.array(view.focus_m)
    turn = poses.rotation_about((0.0, 0.0, 1.0), angle_rad)[:3, :3]
    return replace(view, eye_m=_triple(focus + turn @ (eye - focus)))


def _verdict(sheet: Sheet, findings: Sequence[Finding]) -> None:
    """Write what was found: how many of each verdict, and the first that failed."""
    failed = [finding for finding in findings if finding.verdict is Verdict.FAIL]
    more = [f"and {len(failed) - _NAMED} more"] if len(failed) > _NAMED else []
    sheet.caption([
        counted(findings) if findings else "not judged",
        *(f"✕ {plain(finding.check)}: {finding.message}" for finding in failed[:_NAMED]), *more,
    ])


def camera_path(record: Record, camera: str, times_s: Array, aspect: float) -> list[Viewpoint]:
    """Return where the camera is at each instant."""
    if camera == WHOLE:
        return [overview(whole(record), aspect)] * len(times_s)
    if camera == FOLLOW:
        places = _smooth(record.tool_path(times_s))
        off = _follow_from(record, times_s, places)
        return [Viewpoint(_triple(place + off), _triple(place)) for place in places]
    eye = next(each for each in eyes(record) if each.name == camera)
    path = record.link_path(eye.link, times_s)
    ahead = poses.apply(path, np.array([5.0, 0.0, 0.0]))
    return [
        Viewpoint(_triple(pose[:3, 3]), _triple(focus), _triple(pose[:3, 2]), eye.vertical_rad)
        for pose, focus in zip(path, ahead, strict=True)
    ]


def turned_path(record: Record, name: str, times_s: Array) -> list[Viewpoint]:
    """Return the view of a camera of the platform at each instant, its head turned to tool and rider and drawn near."""
    camera = next(each for each in scene_cameras(record.scene) if each.name == f"{PLATFORM}/{name}")
    nearest_m = watch(record, record.phase_at(float(times_s[0]))).housing_reach_m(camera.name)
    path, tool = record.link_path(camera.link, times_s), _smooth(_subject(record, times_s))
    found = look(camera.view, path, tool)
    turned = head_pose(path, found.pan_rad, found.tilt_rad)
    far = np.linalg.norm(tool - path[:, :3, 3], axis=1)
    wide = np.minimum(2 * np.arctan(_ABOUT_M / 2 / np.maximum(far, 0.5)), camera.view.vertical_rad)
    return [
        Viewpoint(
            _triple(pose[:3, 3]), _triple(pose[:3, 3] + 5 * pose[:3, 0]), _triple(pose[:3, 2]), float(angle),
            nearest_m=nearest_m,
        )
        for pose, angle in zip(turned, wide, strict=True)
    ]


def _subject(record: Record, times_s: Array) -> Array:
    """Return the middle (T, 3) of the tool and the chests of those who ride on it."""
    crew = record.scene.loaded.crew
    aboard = record.scene.aboard(record.phase_at(float(times_s[0])).tree)
    places = [record.link_path(f"{who}/{crew[who].document.chest}", times_s)[:, :3, 3] for who in aboard]
    return np.asarray(np.mean([record.tool_path(times_s), *places], axis=0))


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


def _caption(record: Record, sheet: Sheet, time_s: float, cut: Cut) -> None:
    move = record.move_at(time_s)
    say = "" if move is None else move.say or plain(move.title)
    doing = doing_at(record, time_s) or ("" if move is None else f"{plain(move.carry)}: {plain(move.title)}")
    name = f" · {doing}" if doing else ""
    lines = [say, f"{clock(time_s - record.motion.start_s)} · {cut.speed:.3g}×{name}"]
    if record.once(hands_table) is not None:  # the band keeps its height where nobody holds anything for a while
        lines.append(hands_at(record, time_s))
    sheet.caption(lines)


def _triple(point: Array) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])
