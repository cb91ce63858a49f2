"""The run folder: written whole or not at all, checked by digests, reloaded bit for bit."""

from __future__ import annotations

import hashlib
import json
import os
import platform
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, fields, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from armcarry.asked.relaxed import Relaxed
from armcarry.clearance.second_opinion import EngineAnswer
from armcarry.errors import ArmcarryError, RecordError
from armcarry.files.atomic import building, reason, swap
from armcarry.files.inputs import MANIFEST
from armcarry.files.load import load_scenario
from armcarry.ledger.book import Ledger
from armcarry.ledger.change import Violation
from armcarry.ledger.state import Act
from armcarry.record.causes import causes
from armcarry.record.consistent import check_hung, check_pose, check_record, check_told, overall
from armcarry.record.finding import ClearanceDetail, Finding, Verdict
from armcarry.record.folder import Folder, check_target, open_folder
from armcarry.record.kept import read_results, write_results
from armcarry.record.ledger_file import ledger_dict, read_ledger
from armcarry.record.record import Event, MoveSpan, Phase, Record, Shortfall
from armcarry.record.tables import (
    read_curves,
    read_motion,
    read_pairs,
    write_curves,
    write_motion,
    write_pairs,
)
from armcarry.scene.build import Scene, build_scene
from armcarry.scene.displaced import Displaced
from armcarry.texts import shown
from armcarry.timeline.log_facts import Logged
from armcarry.version import VERSION, installed

FORMAT = "armcarry run 1"
#: file that says what the columns of a log hold
LOG_COLUMNS = "log_columns.yaml"
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
        with building(folder) as partial:
            summary = _write(record, tuple(findings), partial)
            swap(partial, folder)
    except OSError as error:
        raise RecordError(f"cannot write {folder}: {reason(error)}; nothing there was changed") from error
    return summary


def _write(record: Record, findings: tuple[Finding, ...], folder: Path) -> dict[str, Any]:
    for item in record.scene.loaded.inputs:
        target = folder / "scenario" / item.role_path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(item.data)
    _dump(folder / "findings.json", [finding.as_dict() for finding in findings])
    _dump(folder / "run.json", _run(record))
    _dump(folder / "ledger.json", ledger_dict(record))
    if record.logged is not None:
        (folder / _log_name(record.logged)).write_bytes(record.log_data)
    if record.log_columns:
        (folder / LOG_COLUMNS).write_bytes(record.log_columns)
    write_results(record.results(), folder)
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
    tightest = record.tightest
    return {
        "format": FORMAT,
        "title": record.scene.loaded.scenario.title,
        "verdict": str(overall(counts)),
        "counts": {str(v): counts[v] for v in Verdict},
        "causes": {str(v): len(causes(findings, v)) for v in (Verdict.FAIL, Verdict.NOT_ASSESSED)},
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
    return {name: installed(name) for name in _VERSIONS}


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

    The folder may come from anybody: what is in it is checked before it is taken, see ``folder.py``.

    Raises:
        RecordError: not a run folder, another format, a file that is missing, does not fit its digest, has none, is a
            link or too large, or parts that do not fit one another.
    """
    opened = open_folder(Path(folder), FORMAT)
    try:
        record = _assemble(opened)
        written = opened.json("findings.json")
        findings = _typed(tuple[Finding, ...], [_finding(item) for item in written])
        check_record(record, findings)
        check_told(opened.summary, findings, written)
    except RecordError:
        raise
    except (ArmcarryError, LookupError, TypeError, ValueError, AttributeError, ArithmeticError, OSError) as error:
        why = str(error) if isinstance(error, ArmcarryError) or type(error) is ValueError else _words(error)
        raise RecordError(f"{folder} is damaged: {why}") from error
    return record, findings


def _words(error: Exception) -> str:
    """Return the first line of an error of a library, which may tell pages."""
    return f"{type(error).__name__}: {shown(' '.join(str(error).split()), 300)}"


def _assemble(folder: Folder) -> Record:
    for name in ("scenario/scenario.yaml", f"scenario/{MANIFEST}"):
        folder.read(name)  # without the list of inputs models would be looked for elsewhere
    scene = build_scene(load_scenario(folder.path / "scenario" / "scenario.yaml"))
    run = folder.json("run.json")
    displaced = None
    if run.get("displaced") is not None:
        for part in run["displaced"].values():
            for name, pose in part.items():
                check_pose(pose, name)
        displaced = Displaced.from_dict(run["displaced"])
    models = (scene.tree if displaced is None else displaced.of(scene.tree)).mountings
    phases = []
    for phase in run["phases"]:
        hung = phase["mountings"]
        mountings = tuple(
            replace(m, parent=str(hung[m.instance]["parent"]), pose=check_pose(hung[m.instance]["pose"], m.instance))
            for m in models
        )
        phases.append(Phase(float(phase["start_s"]), float(phase["end_s"]), check_hung(mountings)))
    logged = None if run.get("logged") is None else _typed(Logged, run["logged"])
    return Record(
        scene=scene,
        phases=tuple(phases),
        motion=read_motion(folder),
        moves=_typed(tuple[MoveSpan, ...], run["moves"]),
        events=_typed(tuple[Event, ...], run["events"]),
        relaxed=_typed(tuple[Relaxed, ...], run["relaxed"]),
        shortfalls=_typed(tuple[Shortfall, ...], run["shortfalls"]),
        pairs=read_pairs(folder),
        curves=read_curves(folder),
        timings_s=_typed(dict[str, float], folder.summary["timings_s"]),
        slip=_typed(dict[str, float], run["slip"]),
        failed=_typed(tuple[str, ...], run["failed"]),
        engines=_typed(tuple[EngineAnswer, ...], run["engines"]),
        logged=logged,
        log_data=b"" if logged is None else folder.read(_log_name(logged)),
        log_columns=folder.read(LOG_COLUMNS) if LOG_COLUMNS in folder.summary["digests"] else b"",
        displaced=displaced,
        kept=_ledger(scene, folder.json("ledger.json")) if "ledger.json" in folder.summary["digests"] else None,
        judged=read_results(folder),
    )


def _ledger(scene: Scene, data: dict[str, Any]) -> Ledger:
    acts, violations = _typed(tuple[Act, ...], data["acts"]), _typed(tuple[Violation, ...], data["violations"])
    bonds, present = _typed(bool, data["bonds"]), _typed(bool, data["present"])
    return read_ledger(scene, acts, violations, bonds=bonds, present=present)


def _typed(kind: Any, value: Any) -> Any:
    """Return plain values of JSON as a type of ours. Raises ValueError when they do not fit it."""
    return _adapter(kind).validate_python(value)


@lru_cache(maxsize=64)
def _adapter(kind: Any) -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(kind)


def _log_name(logged: Logged) -> str:
    """Return the name of the log in the run folder; its own name stands in run.json."""
    return f"log{Path(logged.name).suffix.lower()}"


def _finding(item: dict[str, Any]) -> dict[str, Any]:
    """Return a finding as a finding's parts, from the flat form of findings.json."""
    detail = None
    if "lower_m" in item:
        detail = {part.name: item.pop(part.name) for part in fields(ClearanceDetail) if part.name in item}
        detail["lower_m"] = float("-inf") if detail["lower_m"] is None else detail["lower_m"]
        detail["upper_m"] = float("inf") if detail["upper_m"] is None else detail["upper_m"]
    return {**item, "clearance": detail}


def _dump(path: Path, value: Any) -> None:
    path.write_text(json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")


def _finite(value: dict[str, Any]) -> dict[str, Any]:
    return {k: None if isinstance(v, float) and not abs(v) < float("inf") else v for k, v in value.items()}
