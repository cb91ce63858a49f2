"""The run folder: written whole or not at all, checked by digests, reloaded bit for bit."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import platform
import shutil
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.asked.relaxed import Relaxed
from armcarry.clearance.second_opinion import EngineAnswer, Opinion, StopOpinion
from armcarry.errors import ArmcarryError, RecordError
from armcarry.files.atomic import exchange, reason, sync_folder
from armcarry.files.load import load_scenario
from armcarry.files.motion_log import Gap
from armcarry.files.places import is_file
from armcarry.record.finding import ClearanceDetail, Finding, Verdict, Way
from armcarry.record.record import Event, MoveSpan, Phase, Record, Shortfall
from armcarry.record.tables import (
    read_curves,
    read_motion,
    read_pairs,
    write_curves,
    write_motion,
    write_pairs,
)
from armcarry.scene.build import build_scene
from armcarry.scene.displaced import Displaced
from armcarry.scene.tree import Tree
from armcarry.timeline.log_facts import Jump, Logged, Step
from armcarry.version import VERSION

FORMAT = "armcarry run 1"
#: a partial folder untouched for so long belongs to no program that still runs
STALE_S = 3600.0
_VERSIONS = ("numpy", "numba", "scipy", "pydantic", "pyarrow", "coal", "pybullet")


def save(record: Record, findings: Iterable[Finding], folder: Path, *, overwrite: bool = False) -> dict[str, Any]:
    """Write a run folder and return its summary.

    Everything is written beside the target and moved there at the end, so a stopped program leaves
    either the old folder or the new one.

    Args:
        record, findings: what to keep.
        folder: where; must not exist, or be an old run folder when ``overwrite`` is true.
        overwrite: put the new run in place of an old one.

    Raises:
        RecordError: the folder exists, is not a run, or cannot be written.
    """
    folder = Path(folder)
    check_target(folder, overwrite=overwrite)
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        _sweep(folder)
        partial = Path(tempfile.mkdtemp(prefix=f".{folder.name}.partial-", dir=folder.parent))
    except OSError as error:
        raise RecordError(f"cannot write {folder}: {reason(error)}") from error
    try:
        summary = _write(record, tuple(findings), partial)
        _swap(partial, folder)
    except OSError as error:
        raise RecordError(f"cannot write {folder}: {reason(error)}; nothing there was changed") from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    return summary


def check_target(folder: Path, *, overwrite: bool = False) -> None:
    """Refuse a folder that ``save`` may not write, before hours are spent on what is to go there.

    Raises:
        RecordError: something is there that is no run, or a run that is not to be replaced, or nobody may look.
    """
    try:
        taken = folder.exists() and any(folder.iterdir() if folder.is_dir() else [folder])
        is_run = (folder / "summary.json").is_file()
    except OSError as error:  # a name too long, a folder that may not be entered
        raise RecordError(f"cannot write {folder}: {reason(error)}") from error
    if taken and not is_run:
        raise RecordError(f"{folder} exists and is not a run folder; choose another --out")
    if taken and not overwrite:
        raise RecordError(f"{folder} holds a run already; choose another --out or add --overwrite")


def _swap(partial: Path, folder: Path) -> None:
    """Put a whole new folder in the place of an old one or of none; an old one comes to ``partial``, to be removed."""
    if folder.exists() and not exchange(partial, folder):
        # this system cannot exchange: between two renames the old run stands beside, under a name that says so
        old = Path(tempfile.mkdtemp(prefix=f".{folder.name}.old-", dir=folder.parent))
        folder.replace(old / folder.name)
        partial.replace(folder)
        shutil.rmtree(old, ignore_errors=True)
    elif not folder.exists():
        partial.replace(folder)
    sync_folder(folder.parent)


def _sweep(folder: Path) -> None:
    """Remove what killed programs left beside a run folder: partial folders that nobody wrote in for an hour."""
    for left in folder.parent.glob(f".{folder.name}.partial-*"):
        with contextlib.suppress(OSError):
            newest = max(path.stat().st_mtime for path in (left, *left.rglob("*")))
            if time.time() - newest > STALE_S:
                shutil.rmtree(left, ignore_errors=True)


def _write(record: Record, findings: tuple[Finding, ...], folder: Path) -> dict[str, Any]:
    for item in record.scene.loaded.inputs:
        target = folder / "scenario" / item.role_path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(item.data)
    _dump(folder / "findings.json", [finding.as_dict() for finding in findings])
    _dump(folder / "run.json", _run(record))
    if record.logged is not None:
        (folder / _log_name(record.logged)).write_bytes(record.log_data)
    write_motion(record, folder)
    write_pairs(record.pairs, folder / "clearance.parquet")
    write_curves(record.curves, folder / "clearance_curve.parquet")
    summary = summarise(record, findings)
    summary["digests"] = {
        str(path.relative_to(folder).as_posix()): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
    _dump(folder / "summary.json", summary)
    for path in folder.rglob("*"):
        if path.is_file():
            with path.open("rb") as stream:
                os.fsync(stream.fileno())
    return summary


def summarise(record: Record, findings: tuple[Finding, ...]) -> dict[str, Any]:
    """Return what summary.json holds, digests of the written files left out."""
    counts = Counter(str(finding.verdict) for finding in findings)
    verdict = next((v for v in (Verdict.FAIL, Verdict.NOT_ASSESSED) if counts[v]), Verdict.PASS)
    tightest = record.tightest
    return {
        "format": FORMAT,
        "title": record.scene.loaded.scenario.title,
        "verdict": str(verdict),
        "counts": {str(v): counts[v] for v in Verdict},
        "duration_s": record.duration_s,
        "timings_s": record.timings_s,
        "tightest": None if tightest is None else _finite(asdict(tightest)),
        "assumptions": len(record.scene.loaded.assumptions),
        "caution": "A rehearsal aid: results support, and do not replace, analysis and approval by the "
        "responsible robotics, safety and medical authorities and local rules.",
        "versions": {"armcarry": VERSION, "python": platform.python_version(), **_versions()},
        "inputs": {item.role_path: item.sha256 for item in record.scene.loaded.inputs},
    }


def _versions() -> dict[str, str]:
    found = {}
    for name in _VERSIONS:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "absent"
    return found


def _run(record: Record) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "phases": [
            {
                "start_s": phase.start_s,
                "end_s": phase.end_s,
                "mountings": {
                    m.instance: {"parent": m.parent, "pose": m.pose.ravel().tolist()} for m in phase.tree.mountings
                },
            }
            for phase in record.phases
        ],
        "moves": [asdict(move) for move in record.moves],
        "events": [asdict(event) for event in record.events],
        "relaxed": [asdict(item) for item in record.relaxed],
        "shortfalls": [asdict(item) for item in record.shortfalls],
        "slip": record.slip,
        "failed": list(record.failed),
        "engines": [asdict(answer) for answer in record.engines],
        "logged": None if record.logged is None else asdict(record.logged),
        "displaced": None if record.displaced is None else record.displaced.as_dict(),
    }


def load(folder: Path) -> tuple[Record, tuple[Finding, ...]]:
    """Read a run folder back: the record bit for bit, and its findings.

    Raises:
        RecordError: not a run folder, another format, or a file that is missing or does not fit its digest.
    """
    folder = Path(folder)
    summary = _read_json(folder / "summary.json", folder)
    if not isinstance(summary, dict) or summary.get("format") != FORMAT:
        raise RecordError(f"{folder} is not a run of format '{FORMAT}'")
    digests = summary.get("digests")
    if not isinstance(digests, dict):
        raise RecordError(f"{folder}/summary.json is damaged: no digests")
    for name, digest in digests.items():
        path = folder / name
        if Path(name).is_absolute() or ".." in Path(name).parts or not is_file(path):
            raise RecordError(f"{folder} is damaged: {name} is missing")
        if hashlib.sha256(path.read_bytes()).hexdigest() != digest:
            raise RecordError(f"{folder} is damaged: {name} does not fit its digest in summary.json")
    try:
        return _assemble(folder, summary)
    except ArmcarryError:
        raise
    except (KeyError, TypeError, ValueError, OSError) as error:
        raise RecordError(f"{folder} is damaged: {type(error).__name__}: {error}") from error


def _assemble(folder: Path, summary: dict[str, Any]) -> tuple[Record, tuple[Finding, ...]]:
    scene = build_scene(load_scenario(folder / "scenario" / "scenario.yaml"))
    run = _read_json(folder / "run.json", folder)
    displaced = None if run.get("displaced") is None else Displaced.from_dict(run["displaced"])
    models = (scene.tree if displaced is None else displaced.of(scene.tree)).mountings
    phases = []
    for phase in run["phases"]:
        hung = phase["mountings"]
        mountings = tuple(
            replace(m, parent=hung[m.instance]["parent"], pose=np.array(hung[m.instance]["pose"]).reshape(4, 4))
            for m in models
        )
        phases.append(Phase(phase["start_s"], phase["end_s"], Tree(mountings)))
    logged = None if run.get("logged") is None else _logged(run["logged"])
    record = Record(
        scene=scene,
        phases=tuple(phases),
        motion=read_motion(folder),
        moves=tuple(MoveSpan(**item) for item in run["moves"]),
        events=tuple(Event(**item) for item in run["events"]),
        relaxed=tuple(Relaxed(**item) for item in run["relaxed"]),
        shortfalls=tuple(Shortfall(**item) for item in run["shortfalls"]),
        pairs=read_pairs(folder / "clearance.parquet"),
        curves=read_curves(folder / "clearance_curve.parquet"),
        timings_s=summary["timings_s"],
        slip=run["slip"],
        failed=tuple(run["failed"]),
        engines=tuple(_answer(item) for item in run["engines"]),
        logged=logged,
        log_data=b"" if logged is None else (folder / _log_name(logged)).read_bytes(),
        displaced=displaced,
    )
    return record, tuple(_finding(item) for item in _read_json(folder / "findings.json", folder))


def _log_name(logged: Logged) -> str:
    """Return the name of the log in the run folder; its own name stands in run.json."""
    return f"log{Path(logged.name).suffix.lower()}"


def _logged(item: dict[str, Any]) -> Logged:
    lists = {
        "gaps": tuple(Gap(**gap) for gap in item["gaps"]),
        "jumps": tuple(Jump(**jump) for jump in item["jumps"]),
        "left_out": tuple(item["left_out"]),
        "unmarked": tuple(item["unmarked"]),
    }
    return Logged(**{**item, **lists, "largest": Step(**item["largest"])})


def _answer(item: dict[str, Any]) -> EngineAnswer:
    opinions = tuple(Opinion(**opinion) for opinion in item["opinions"])
    return EngineAnswer(item["engine"], item["present"], opinions, tuple(StopOpinion(**s) for s in item["stops"]))


def _finding(item: dict[str, Any]) -> Finding:
    detail = None
    if "lower_m" in item:
        keys = ("lower_m", "upper_m", "required_m", "time_s", "point_a", "point_b")
        values = {key: item.pop(key) for key in keys}
        values["lower_m"] = float("-inf") if values["lower_m"] is None else values["lower_m"]
        values["upper_m"] = float("inf") if values["upper_m"] is None else values["upper_m"]
        detail = ClearanceDetail(**{**values, "point_a": tuple(values["point_a"]), "point_b": tuple(values["point_b"])})
    ways = tuple(Way(**{**way, "corners": tuple(map(tuple, way["corners"]))}) for way in item.pop("ways", ()))
    return Finding(**{**item, "verdict": Verdict(item["verdict"])}, clearance=detail, ways=ways)


def _read_json(path: Path, folder: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        raise RecordError(f"{folder} is not a run folder: {path.name} is missing") from None
    except (OSError, ValueError) as error:
        raise RecordError(f"{folder} is damaged: {path.name} cannot be read ({error})") from error


def _dump(path: Path, value: Any) -> None:
    path.write_text(json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")


def _finite(value: dict[str, Any]) -> dict[str, Any]:
    return {k: None if isinstance(v, float) and not abs(v) < float("inf") else v for k, v in value.items()}
