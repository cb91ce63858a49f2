"""A picture for each task: a ride at its start, at its closest and at its end; work where it is done.

Each is seen from the camera that sees it and is called, its head turned and its view narrowed to what matters; where no
camera sees it, from the side from which most is seen, and the picture says so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from armcarry.files.atomic import inner_folder, writing
from armcarry.geometry.poses import Array
from armcarry.procedure.model import Procedure, Task
from armcarry.quantities import clock
from armcarry.record.record import Record
from armcarry.scene.camera import head_pose, look
from armcarry.scene.eyes import TIP, SceneCamera
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.annotate import Pixels, Sheet
from armcarry.views.brief.moves import Card, Lookout, Nearest
from armcarry.views.closest import closest_track, kept, worded
from armcarry.views.stage import Stage
from armcarry.views.viewpoint import VIEW_RAD, Viewpoint, hiding, overview, towards_place

Tell = Callable[[str, float], None]

#: pixels of one panel, and how many points a way is drawn with
PANEL, _POINTS = (560, 380), 160
#: letters are so much larger than on a picture that fills a screen
_LETTERS = 1.9
#: what is shown about the point looked at, m: a rider whole, with the arm's end; work with whoever does it
_ABOUT_M = 3.2
#: a way longer than this is shown whole at its start, m
_LONG_M = 5.0
#: whoever goes a way is at its end within this, m
_BESIDE_M = 0.5
#: instants nearer than this to the start or the end of a ride have no panel of their own, as a share of it
_APART = 0.06
#: kinds of tasks in which somebody or something goes a way
_WALK, _ROLL = "translate", "move_base"


@dataclass(frozen=True)
class TaskPicture:
    """A picture of a task: the file, its words for who cannot see it, and from where it is seen."""

    path: Path
    words: str
    seen_from: str


@dataclass(frozen=True)
class _Shot:
    """One panel: an instant, what is looked at, a line below, where on the way whoever goes it is, the gap drawn in it.

    ``wide`` shows the whole way.
    """

    time_s: float
    focus: Array
    words: str
    at: Array
    near: Nearest | None = None
    wide: bool = False

    @property
    def told(self) -> str:
        """The line with the gap and its two bodies, for who cannot see the picture."""
        return self.words if self.near is None else f"{self.words}, closest {self.near.words}, {self.near.value}"


def draw_tasks(
    record: Record, procedure: Procedure, cards: Sequence[Card], folder: Path, tell: Tell | None = None
) -> dict[str, TaskPicture]:
    """Draw the pictures of all tasks into a folder and return them by the task's number.

    Args:
        record, procedure: the run and everybody's tasks.
        cards: one a move, which know the closest gap and the cameras.
        folder: made when missing.
        tell: told what is drawn.

    Raises:
        ArmcarryError: nothing can be drawn on this machine.
    """
    say = tell or (lambda words, share: None)
    by_move = {(card.move.carry, card.move.number): card for card in cards}
    tasks = [leaf for task in procedure.tasks for leaf in (task.moves or (task,))]
    found: dict[str, TaskPicture] = {}
    inner_folder(folder)
    with Stage(record, PANEL) as stage:
        drawer = _Drawer(record, stage)
        for k, task in enumerate(tasks):
            say(f"drawing task {task.number}", k / len(tasks))
            picture = drawer.draw(task, by_move.get(task.place_in_script), folder)
            if picture is not None:
                found[task.number] = picture
    return found


class _Drawer:
    def __init__(self, record: Record, stage: Stage) -> None:
        self.record, self.stage, self.lookout = record, stage, Lookout(record)
        self.cameras: Mapping[str, SceneCamera] = {camera.name: camera for camera in self.lookout.cameras}

    def draw(self, task: Task, card: Card | None, folder: Path) -> TaskPicture | None:
        """Draw one task; None where nobody and nothing of it can be seen."""
        shots, way = self._shots(task, card)
        if not shots:
            return None
        camera = self._camera(task, shots)
        panels = [self._panel(task, shot, way, camera) for shot in shots]
        path = folder / f"{task.number.replace('.', '_')}_{task.kind}.jpg"
        _save(panels, path)
        seen = "beside it; no camera sees it all" if camera is None else self.lookout.title(camera.name)
        told = "; ".join(shot.told for shot in shots)
        return TaskPicture(path, f"{task.title}, seen from {seen}: {told}", seen)

    def _shots(self, task: Task, card: Card | None) -> tuple[list[_Shot], Array | None]:
        """Return the panels of a task and the way (n, 3) that is marked in them."""
        mover = self._mover(task)
        if mover is not None and task.end_s > task.start_s:
            times = np.linspace(task.start_s, np.nextafter(task.end_s, -np.inf), _POINTS)
            way = self.record.link_path(mover, times)[:, :3, 3]
            if np.ptp(way, axis=0).max() > 0.02:
                return self._ride(task, None if card is None else card.told, times, way), way
        place = self._place(task)
        if place is None:
            return [], None
        middle_s = (task.start_s + task.end_s) / 2
        return [_Shot(middle_s, place, f"at {clock(middle_s, 0)}", place, self._near(task, middle_s))], None

    def _ride(self, task: Task, near: Nearest | None, times: Array, way: Array) -> list[_Shot]:
        wide = float(np.ptp(way, axis=0).max()) > _LONG_M
        begin = f"{'the way from' if wide else 'start,'} {clock(task.start_s, 0)}"
        shots = [_Shot(float(times[0]), way[0], begin, way[0], wide=wide)]
        end = _Shot(float(times[-1]), way[-1], f"end, {clock(task.end_s, 0)}", way[-1])
        if near is not None and near.row is not None:
            share = (near.time_s - task.start_s) / (task.end_s - task.start_s)
            words = f"closest, {clock(near.time_s, 0)}"
            middle = (np.asarray(near.point_a) + np.asarray(near.point_b)) / 2
            if _APART < share < 1 - _APART:
                where = way[int(np.argmin(np.abs(times - near.time_s)))]
                shots.append(_Shot(near.time_s, middle, words, where, near))
            else:
                ends, k = [shots[0], end], 0 if share < 0.5 else 1
                words = f"{ends[k].words}, closest"
                ends[k] = _Shot(float(times[0 if k == 0 else -1]), ends[k].focus, words, ends[k].at, near, ends[k].wide)
                return ends
        return [*shots, end]

    def _mover(self, task: Task) -> str | None:
        """Return the link whose way is marked: the rider's or walker's chest, else the arm's tool."""
        crew = self.record.scene.loaded.crew
        who = next((name for name in (*task.riders, *task.actors) if name in crew), None)
        moves = task.place_in_script[0] or task.kind == _ROLL
        if who is not None and (moves or task.kind == _WALK):
            return f"{who}/{crew[who].document.chest}"
        return self.record.scene.tool(self.record.phase_at(task.start_s).tree) if moves else None

    def _place(self, task: Task) -> Array | None:
        """Return the middle of what is worked on and of whoever works; None where all of them are behind the hatch."""
        page = self.record.ledger.at((task.start_s + task.end_s) / 2)
        outside = [who for who in task.actors if who in page.people and not page.people[who].inside
                   and not page.people[who].away]
        things = {*outside, *([task.item] if task.item else [])} if outside else set()
        middles = self.record.body_poses((task.start_s + task.end_s) / 2)[0, :, :3, 3]
        mine = [middles[k] for k, body in enumerate(self.record.bodies) if body.name.split("/", 1)[0] in things]
        return np.mean(mine, axis=0) if mine else None

    def _near(self, task: Task, time_s: float) -> Nearest | None:
        mine = {*task.actors, *task.riders, *([task.item] if task.item else [])}
        track = closest_track(self.record, [time_s], lambda table: np.logical_xor(*table.ends_of(mine)))
        if track.row[0] < 0:
            return None
        row = self.record.pairs[track.row[0]]
        words = f"{plain(row.body_a)} – {plain(row.body_b)}"
        return Nearest(words, time_s, worded(row, float(track.lower_m[0])), (), row, float(track.lower_m[0]),
                       tuple(track.point_a[0]), tuple(track.point_b[0]))

    def _camera(self, task: Task, shots: Sequence[_Shot]) -> SceneCamera | None:
        """Return the nearest camera that sees all panels, not worn by whoever is in them; None where none does."""
        shots = [shot for shot in shots if not shot.wide]
        seen: dict[str, int] = {}
        for shot in shots:
            for name in self._seen(task, shot):
                seen[name] = seen.get(name, 0) + 1
        own = {*task.actors, *task.riders}
        every = [name for name, count in seen.items() if count == len(shots) and name.split("/")[0] not in own]
        # of the cameras that see it all, the one with the least before it, then the nearest, shows most
        shown = {name: max(self._shows(task, name, shot) for shot in shots) for name in every}
        return self.cameras[min(shown, key=shown.__getitem__)] if shown else None

    def _shows(self, task: Task, camera: str, shot: _Shot) -> tuple[int, float]:
        eye = self.record.link_path(self.cameras[camera].link, [shot.time_s])[0, :3, 3]
        return len(self._before(task, shot, eye)), float(np.linalg.norm(eye - shot.focus))

    def _before(self, task: Task, shot: _Shot, eye_m: ArrayLike) -> tuple[str, ...]:
        """Return what stands between an eye and the middle of a panel, those apart who do the task."""
        around = shot.focus + 0.4 * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)])
        return hiding(self.record, shot.time_s, around, eye_m, self._own(task))

    def _own(self, task: Task) -> list[str]:
        mine = {*task.actors, *task.riders, task.item}
        return [body.name for body in self.record.bodies if body.name.split("/", 1)[0] in mine]

    def _seen(self, task: Task, shot: _Shot) -> tuple[str, ...]:
        """Return the cameras that see whoever does a task at an instant: riders, else the hands, else the arm's tip."""
        crew = self.record.scene.loaded.crew
        who = next((name for name in (*task.riders, *task.actors) if name in crew), TIP)
        watching = self.lookout.watching(who, shot.time_s)
        if watching is not None or who == TIP:
            return watching or ()
        hands = self.record.link_path(f"{who}/{crew[who].document.hands}", [shot.time_s])[0, :3, 3]
        return self.lookout.names(shot.time_s, hands)

    def _view(self, task: Task, shot: _Shot, camera: SceneCamera | None, way: Array | None) -> Viewpoint:
        if camera is None or shot.wide:
            if way is not None and (shot.wide or np.ptp(way, axis=0).max() > _ABOUT_M):
                return overview(np.concatenate([way, shot.focus + _ABOUT_M / 2 * np.eye(3)]), PANEL[0] / PANEL[1])
            around = shot.focus + 0.5 * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)])
            return towards_place(self.record, shot.time_s, around, 7.0, self._own(task))
        pose = self.record.link_path(camera.link, [shot.time_s])[0]
        found = look(camera.view, pose, shot.focus)
        turned = head_pose(pose, found.pan_rad, found.tilt_rad)
        far = max(float(found.range_m), 0.5)
        wide = min(camera.view.vertical_rad, VIEW_RAD, 2 * float(np.arctan(_ABOUT_M / 2 / far)))
        eye, focus = turned[:3, 3], shot.focus
        return Viewpoint(_triple(eye), _triple(focus), _triple(turned[:3, 2]), max(wide, 0.02))

    def _panel(self, task: Task, shot: _Shot, way: Array | None, camera: SceneCamera | None) -> Pixels:
        stage = self.stage
        stage.scene.show(shot.time_s)
        mine = {*task.actors, *task.riders, *([task.item] if task.item else [])}
        stage.spare([body.name for body in self.record.bodies if body.name.split("/", 1)[0] in mine], 0.62)
        view = self._view(task, shot, camera, way)
        stage.look(view)
        stage.see_through(self._before(task, shot, view.eye_m))
        line = None if way is None else stage.path(way, palette.LIGHT, 3.5)
        sheet = Sheet(stage.shot(), _LETTERS)
        seen = "from beside: no camera sees it" if camera is None else f"from {self.lookout.title(camera.name)}"
        sheet.caption([shot.words, "from beside" if shot.wide else seen])  # first, so that labels keep off it
        if line is not None and way is not None:
            stage.forget(line)
            self._way(sheet, way, shot)
        if shot.near is not None and shot.near.row is not None:
            self._gap(sheet, shot.near)
        stage.see_through(())
        stage.spare((), 1.0)
        return sheet.pixels()

    def _way(self, sheet: Sheet, way: Array, shot: _Shot) -> None:
        """Name both ends of a way, but not the one at which whoever goes it is now: the name would hide them."""
        for words, place in (("from here", way[0]), ("to here", way[-1])):
            apart = shot.wide or np.linalg.norm(shot.at - place) > _BESIDE_M
            if apart and self.stage.in_view([place])[0]:
                sheet.label(self.stage.pixels(place)[0][0], words, palette.LIGHT)

    def _gap(self, sheet: Sheet, near: Nearest) -> None:
        ends = np.array([near.point_a, near.point_b])
        if near.row is None or not np.all(self.stage.in_view(ends)):
            return
        good = kept(near.row, near.lower_m)
        (a, b), _ = self.stage.pixels(ends)
        colour = palette.BLUISH_GREEN if good else palette.VERMILLION
        sheet.line(a, b, colour, 0.3)
        sheet.label((a + b) / 2, f"{'✓' if good else '✕'} {near.value}", colour)


def _save(panels: Sequence[Pixels], path: Path) -> None:
    """Write panels side by side as one JPEG. Raises RecordError."""
    from PIL import Image

    gap = np.full((panels[0].shape[0], 6, 3), 255, dtype=np.uint8)
    parts: list[Any] = []
    for panel in panels:
        parts += [panel, gap]
    with writing(path) as place:
        Image.fromarray(np.concatenate(parts[:-1], axis=1)).save(place, format="JPEG", quality=82)


def _triple(point: Array) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])
