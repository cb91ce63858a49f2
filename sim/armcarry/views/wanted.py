"""The pictures that a scenario asks for: things in full colour, named, with fasteners and seats, in their place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from armcarry.errors import FrameError
from armcarry.files.documents.pictures import PictureWanted
from armcarry.files.names import matches
from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.annotate import Sheet
from armcarry.views.eyes import eyes
from armcarry.views.moments import Still
from armcarry.views.stage import Stage
from armcarry.views.viewpoint import Viewpoint, body_corners, hiding, overview, towards_place

#: how much of the surroundings is shown where they are asked for, m
_AROUND_M = 7.0
#: an item is in its seat, so that the seat's work points are its bolts and plugs, within this, m
_IN_SEAT_M = 0.1


@dataclass(frozen=True)
class _Shown:
    """What a picture highlights: names of bodies, and labels with their places in the world."""

    bodies: tuple[str, ...]
    labels: tuple[tuple[str, Array, str], ...]


def wanted_stills(record: Record, stage: Stage) -> Iterator[Still]:
    """Draw the pictures that the scenario asks for, one after another."""
    for wanted in record.scene.loaded.scenario.pictures:
        yield _still(record, stage, wanted)


def instant_of(record: Record, wanted: PictureWanted) -> float:
    """Return when a picture is taken: at the start or end of a step of the day, or of a named move.

    Raises:
        FrameError: the step is not done in this run.
    """
    if wanted.step is None:
        return record.motion.start_s
    slots = () if record.plan is None else record.plan.schedule.slots
    spans = {move.name: (move.start_s, move.end_s) for move in record.moves if move.name}
    spans |= {slot.name: (slot.start_s, slot.end_s) for slot in slots}
    if wanted.step not in spans:
        raise FrameError("step done in this run", wanted.step, spans)
    start_s, end_s = spans[wanted.step]
    return start_s if wanted.when == "start" else float(np.nextafter(end_s, -np.inf)) if end_s > start_s else end_s


def _still(record: Record, stage: Stage, wanted: PictureWanted) -> Still:
    time_s = instant_of(record, wanted)
    stage.scene.show(time_s)
    shown = _shown(record, wanted, time_s)
    places = np.stack([place for _, place, _ in shown.labels])
    rows = [k for k, body in enumerate(record.bodies) if body.name in shown.bodies]
    corners = body_corners(record, time_s).reshape(-1, 8, 3)[rows].reshape(-1, 3) if rows else places
    stage.spare([record.bodies[k].name for k in rows], 0.5)
    view = _view(record, stage, wanted, time_s, np.concatenate([places, corners]))
    stage.look(view)
    if wanted.seen_from is None:
        stage.see_through(hiding(record, time_s, places, view.eye_m, shown.bodies))
    sheet = Sheet(stage.shot())
    title = wanted.title or ", ".join(map(plain, wanted.highlight))
    seen = f"seen by {plain(wanted.seen_from)}" if wanted.seen_from is not None else "what stands before is see-through"
    step = f", {'end' if wanted.when == 'end' else 'start'} of {plain(wanted.step)}" if wanted.step else ""
    sheet.title(title, f"{clock(time_s, 0)} from the start{step}; {seen}")
    for words, place, colour in shown.labels:
        if stage.in_view([place])[0]:
            sheet.label(stage.pixels(place)[0][0], words, colour, 1.1)
    stage.see_through(())
    stage.spare((), 1.0)
    named = ", ".join(dict.fromkeys(words for words, _, _ in shown.labels))
    return Still(f"wanted_{wanted.name}", f"{title}, {clock(time_s, 0)}{step}: {named}", sheet.pixels(), title)


def _view(record: Record, stage: Stage, wanted: PictureWanted, time_s: float, points: Array) -> Viewpoint:
    """Return the asked camera's view, turned to what is shown; else the side from which most of it is seen."""
    low, high = points.min(axis=0), points.max(axis=0)
    middle, size = (low + high) / 2, float(np.linalg.norm(high - low))
    if wanted.seen_from is not None:
        eye = next(each for each in eyes(record) if each.name == wanted.seen_from)
        pose = record.link_path(eye.link, [time_s])[0]
        far = max(float(np.linalg.norm(middle - pose[:3, 3])), 0.5)
        wide = 2 * float(np.arctan((size / 2 + (_AROUND_M if wanted.around else 0.6)) / far))
        return Viewpoint(_triple(pose[:3, 3]), _triple(middle), _triple(pose[:3, 2]), min(wide, eye.vertical_rad))
    near = towards_place(record, time_s, np.stack([middle, *points[:6]]), max(2.2 * size, 3.5))
    if not wanted.around:
        return near
    way = np.subtract(near.eye_m, near.focus_m)
    way = way if np.linalg.norm(way[:2]) > 0.2 * np.linalg.norm(way) else np.array([0.5, -0.7, 0.5])
    wide = middle + _AROUND_M * np.concatenate([np.eye(3), -np.eye(3)])
    return overview(np.concatenate([points, wide]), stage.size[0] / stage.size[1], way)


def _shown(record: Record, wanted: PictureWanted, time_s: float) -> _Shown:
    loaded, (tree, links) = record.scene.loaded, record.link_poses(time_s)
    where = {body.name: pose[:3, 3] for body, pose in
             zip(record.bodies, record.body_poses(time_s)[0], strict=True)}
    things = [*loaded.crew, *loaded.hardware, *loaded.scenario.all_restraints]
    bodies, labels = list[str](), list[tuple[str, Array, str]]()

    def link(name: str) -> Array:
        return np.asarray(links[tree.index(name), :3, 3])

    for pattern in wanted.highlight:
        for thing in (name for name in things if matches(pattern, name)):
            mine = [name for name in where if name.startswith(f"{thing}/")]
            bodies += mine
            colour = palette.YELLOW if thing in loaded.hardware else palette.SKY_BLUE
            labels.append((plain(thing), np.mean([where[name] for name in mine], axis=0), colour))
            labels += _fasteners(record, thing, time_s)
        for name, seat in loaded.platform.document.seats.items():
            if matches(pattern, name):
                touched = [f"{PLATFORM}/{touch}" for touch in seat.touches]
                bodies += [body for body in where if any(matches(touch, body) for touch in touched)]
                labels.append((plain(name), link(f"{PLATFORM}/{seat.frame}"), palette.BLUISH_GREEN))
        for name, site in loaded.platform.document.worksites.items():
            if matches(pattern, name):
                labels.append((site.title.partition(":")[0], link(f"{PLATFORM}/{site.stand}"), palette.BLUISH_GREEN))
                labels += [(plain(words.removeprefix(f"{name}_")), link(f"{PLATFORM}/{frame}"), palette.FAINT_LIGHT)
                           for words, frame in site.work_points.items()]
        exact = [name for name in where if matches(pattern, name)]
        bodies += exact
        labels += [(plain(name), where[name], palette.LIGHT) for name in exact[:6]]
    return _Shown(tuple(dict.fromkeys(bodies)), tuple(labels))


def _fasteners(record: Record, thing: str, time_s: float) -> list[tuple[str, Array, str]]:
    """Return the labels of an item's fasteners: at the joint they hold, or where hands work on them in its seat."""
    loaded, (tree, links) = record.scene.loaded, record.link_poses(time_s)
    if thing not in loaded.hardware:
        return []
    document, found = loaded.hardware[thing].document, list[tuple[str, Array, str]]()
    base = links[tree.index(f"{thing}/{document.base}"), :3, 3]
    points = {
        words: links[tree.index(f"{PLATFORM}/{frame}"), :3, 3]
        for site in loaded.platform.document.worksites.values() if site.seat is not None
        and np.linalg.norm(base - links[tree.index(
            f"{PLATFORM}/{loaded.platform.document.seats[site.seat].frame}"), :3, 3]) < _IN_SEAT_M
        for words, frame in site.work_points.items()
    }
    state = dict(record.ledger.at(time_s).states[thing].fasteners)
    for name, fastener in document.fasteners.items():
        words = f"{plain(name)}{f' ({fastener.count})' if fastener.count > 1 else ''}"
        words += f", {state[name]}" if name in state else ""
        if fastener.joint is not None:
            child = next(joint.child for joint in loaded.hardware[thing].model.joints if joint.name == fastener.joint)
            found.append((words, np.asarray(links[tree.index(f"{thing}/{child}"), :3, 3]), palette.ORANGE))
            continue
        kind = {"bolts": "bolt", "connector": "connector"}.get(fastener.kind, name)
        near = [place for point, place in points.items() if kind in point or name.rstrip("s") in point]
        found += [(words, np.asarray(place), palette.ORANGE) for place in near]
    return found


def _triple(point: Array) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])



