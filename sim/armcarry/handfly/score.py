"""A flight against the script, several flights side by side, and a flight as a motion log or a script to edit."""

from __future__ import annotations

import io
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.files.atomic import write_bytes_atomic
from armcarry.geometry.poses import Array
from armcarry.handfly.command import RATE_HZ, TICK_S
from armcarry.handfly.flight import Flight
from armcarry.scene.build import Scene

#: rows of a log in a second
LOG_HZ = 10
#: joints between waypoints of an exported script are within this of what was flown
_NEAR_RAD = np.radians(0.5)

HEADINGS = ("try", "time", "way of the tool", "least margin", "seconds short", "corrections", "ends off by", "reaction")


@dataclass(frozen=True)
class Score:
    """How a flight went. ``None`` where there is nothing to tell.

    Attributes:
        lasting_s, script_s: time flown, and what the script takes without its holds.
        way_m, script_m: way of the tool.
        least_margin_m: least distance beyond what is required, at ticks; the saved run proves it in between.
        short_s: time with less than is required.
        corrections: how often a control was reversed.
        off_m, off_rad: from the end of the last leg that was flown.
        done: whether all acts of the script were done.
        reactions: kind of each fault in turn, and the seconds to its answer, the brake key or another view.
    """

    lasting_s: float
    script_s: float
    way_m: float
    script_m: float
    least_margin_m: float
    short_s: float
    corrections: int
    off_m: float
    off_rad: float
    done: bool
    reactions: tuple[tuple[str, float | None], ...]

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON; the margin is None in contact, or where nothing was near."""
        return {**asdict(self), "least_margin_m": self.least_margin_m if np.isfinite(self.least_margin_m) else None}

    def row(self, name: str) -> list[str]:
        """Return it as a row under HEADINGS."""
        return [
            name, f"{self.lasting_s:.0f} s (script {self.script_s:.0f})",
            f"{self.way_m:.1f} m (script {self.script_m:.1f})",
            "contact" if self.least_margin_m == -np.inf else f"{self.least_margin_m:.3f} m", f"{self.short_s:.1f}",
            str(self.corrections), f"{self.off_m * 100:.1f} cm, {np.degrees(self.off_rad):.1f} deg",
            ", ".join(f"{kind} {'not yet' if s is None else f'{s:.2f} s'}" for kind, s in self.reactions) or "-",
        ]  # fmt: skip


def score(flight: Flight) -> Score:
    """Score a flight against its script."""
    kept, course, pilot = flight.kept, flight.course, flight.pilot
    margins = np.array(kept.margin_m)
    legs = [leg for leg in course.legs if not leg.act and leg.span.kind != "hold"]
    off = pilot.off_goal()
    return Score(
        pilot.time_s, sum(leg.span.end_s - leg.span.start_s for leg in legs), _way(np.array(kept.tool_m)),
        sum(_way(leg.way_m) for leg in legs), float(margins.min()), float((margins < 0).sum() * TICK_S),
        kept.corrections, *off, len(kept.acts) == sum(leg.act for leg in course.legs), flight.reactions,
    )  # fmt: skip


def _way(points: Array) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def log_bytes(flight: Flight) -> bytes:
    """Return a flight as a CSV log with marks, which ``rehearse --motion`` replays with every check."""
    kept = flight.kept
    legs, names = flight.course.legs, flight.scene.arm_joints
    marks: dict[int, list[str]] = {}
    begun = set[int]()
    acts = {number: tick for tick, number in kept.acts}
    for tick, leg in enumerate(kept.leg):
        for number in range(max(begun, default=-1) + 1, leg + 1):
            if legs[number].act and number not in acts:
                continue
            begun.add(number)
            # what follows an act begins with it
            marks.setdefault(acts.get(number, acts.get(number - 1, tick)), []).append(_mark(flight, number))
    for number, tick in acts.items():
        if number not in begun:
            marks.setdefault(tick, []).append(_mark(flight, number))
    out = io.StringIO()
    out.write("time [s]," + ",".join(f"{name} [rad]" for name in names) + ",move\n")
    every = RATE_HZ // LOG_HZ
    last = len(kept.q) - 1
    for tick, q in enumerate(kept.q):
        if tick % every and tick not in marks and tick != last:
            continue
        values = ",".join(repr(float(value)) for value in q)
        out.write(f"{tick * TICK_S!r},{values},{' '.join(marks.get(tick, []))}\n")
    return out.getvalue().encode()


def _mark(flight: Flight, number: int) -> str:
    span = flight.course.legs[number].span
    return f"{span.carry}/{span.number}"


def write_script(flight: Flight, scene: Scene, path: Path) -> int:
    """Write the flown path as a scenario that a person can read and edit; return its waypoints.

    Its carry goes from waypoint to waypoint in joint space, within half a degree of what was flown, with the
    acts where they were done. Names of models are made paths where they are; it states no expectations.

    Raises:
        RecordError: the file cannot be written.
    """
    from ruamel.yaml import YAML

    yaml = YAML()
    yaml.width = 120
    content = yaml.load(scene.loaded.path.read_text(encoding="utf-8"))
    for key in ("expect", "day"):
        content.pop(key, None)
    moves: list[dict[str, Any]] = []
    legs, ends = flight.course.legs, [tick for tick, _ in flight.kept.acts] + [len(flight.kept.q) - 1]
    since, count = 0, 0
    first = next((leg for leg in legs if leg.span.kind == "hold"), None)
    moves.append({"hold": "5 s", "name": "ready", "say": first.move.say if first else ""})
    for end, number in zip(ends, [*(number for _, number in flight.kept.acts), None], strict=True):
        for tick in waypoints(np.array(flight.kept.q[since : end + 1]))[1:]:
            count += 1
            q = np.degrees(flight.kept.q[since + tick])
            joints = {name.split("/")[-1]: f"{value:.3f} deg" for name, value in zip(scene.arm_joints, q, strict=True)}
            moves.append({"to_joints": joints, "name": f"flown_{count}"})
        if number is not None:
            moves.append(legs[number].move.model_dump(mode="json", exclude_defaults=True, exclude_none=True))
        since = end
    content["title"] = f"{content.get('title', scene.loaded.path.stem)}, flown by hand"
    content["carries"] = [{"name": "flown_by_hand", "title": "Flown by hand", "moves": moves}]
    out = io.StringIO()
    yaml.dump(content, out)
    write_bytes_atomic(path, out.getvalue().encode())
    return count


def waypoints(q: Array) -> list[int]:
    """Return ticks (first and last included) between which straight joint motion stays near what was flown."""
    if len(q) < 2 or not np.ptp(q, axis=0).any():
        return [0]
    kept, open_ = {0, len(q) - 1}, [(0, len(q) - 1)]
    while open_:
        first, last = open_.pop()
        if last - first < 2:
            continue
        part = q[first : last + 1]
        way = part[-1] - part[0]
        share = np.clip((part - part[0]) @ way / max(float(way @ way), 1e-12), 0.0, 1.0)
        off = np.abs(part - part[0] - share[:, None] * way).max(axis=1)
        k = int(np.argmax(off))
        if off[k] > _NEAR_RAD:
            kept.add(first + k)
            open_ += [(first, first + k), (first + k, last)]
    return sorted(kept)

