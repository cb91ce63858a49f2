"""Running checks so that none of them can sink a run: what goes wrong in one becomes a finding of its own."""

from __future__ import annotations

import inspect
import math
import traceback
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armcarry.record.finding import ClearanceDetail, Finding, Verdict, Way
from armcarry.record.maker import Maker

if TYPE_CHECKING:
    from armcarry.record.record import Record

#: a check takes a record, and the settings that the rules give it if it has an argument ``settings``
Check = Callable[..., Any]
_LONGEST = 300


def judged(name: str, check: Check, record: Record, settings: Mapping[str, Any] | None = None) -> list[Finding]:
    """Run one check and return its findings, each a proper one under the check's own name.

    Args:
        name: under which it is registered.
        check: the function.
        record: what is judged.
        settings: of the rules' ``checks``, None where they have none for it.
    """
    if settings is not None and not takes_settings(check):
        return [
            not_run(name, f"the rules give settings to check '{name}', which takes none", f"leave checks.{name} out")
        ]
    told: list[Finding] = []
    try:
        given = {"settings": deepcopy(dict(settings or {}))} if takes_settings(check) else {}
        found = check(record, **given)
        if found is None:
            return [not_run(name, f"check '{name}' returned None instead of its findings")]
        for item in found:
            told.append(_proper(name, item))  # noqa: PERF401  # what came before an error is kept
        return told
    except (Exception, SystemExit) as error:  # whatever a check of anybody raises: the run must be kept
        failed = [item for item in told if item.verdict is Verdict.FAIL]  # a failure stays one; a pass was half a look
        return [*failed, not_run(name, f"check '{name}' broke off with {error_words(error)}")]


def not_run(name: str, message: str, remedy: str = "") -> Finding:
    """Say that a check of this name judged nothing, and why."""
    return Maker(name).not_assessed("check", message, remedy or f"have the check '{name}' mended by who wrote it")


def takes_settings(check: Check) -> bool:
    """Tell whether a check has an argument ``settings``, for what the rules' ``checks`` say under its name."""
    try:
        return "settings" in inspect.signature(check).parameters
    except (TypeError, ValueError):  # made in another language, without a signature
        return False


def error_words(error: BaseException) -> str:
    """Name an error, what it says, and where it was raised."""
    try:
        said = " ".join(str(error).split())[:_LONGEST]
    except Exception:  # an error of others may fail to say what it is
        said = ""
    last = traceback.extract_tb(error.__traceback__)[-1:]
    where = f" ({Path(last[0].filename).name}, line {last[0].lineno})" if last else ""
    return f"{type(error).__name__}{f': {said}' if said else ''}{where}"


def _proper(name: str, found: Any) -> Finding:
    """Return a finding as it may be kept, or one that says what is wrong with it."""
    if not isinstance(found, Finding):
        return not_run(name, f"check '{name}' gave {type(found).__name__} where a Finding is expected")
    faults = list(_faults(found))
    kept: Finding = found
    if faults and kept.verdict == Verdict.FAIL:  # what is proven to fail stays so, whatever was told beside it
        kept = _bare(kept, faults)
    if list(_faults(kept)):
        return not_run(name, f"check '{name}' gave a finding that cannot be kept: {'; '.join(faults)[:_LONGEST]}")
    return replace(
        kept, check=name, verdict=Verdict(kept.verdict), start_s=float(kept.start_s), end_s=float(kept.end_s),
        value=_plain(kept.value), limit=_plain(kept.limit), ways=tuple(kept.ways),
    )  # fmt: skip


def _bare(found: Finding, faults: list[str]) -> Finding:
    """Return a finding without the numbers that cannot be kept, which its message then tells."""
    beside = f"; told beside it, and left out: {'; '.join(faults)[:_LONGEST]}"
    times = (found.start_s, found.end_s) if _is_finite(found.start_s) and _is_finite(found.end_s) else (0.0, 0.0)
    return replace(
        found, message=f"{found.message}{beside}" if isinstance(found.message, str) and found.message else "",
        start_s=times[0], end_s=times[1], value=found.value if _is_finite(found.value) else None,
        limit=found.limit if _is_finite(found.limit) else None,
        clearance=found.clearance if _is_clearance(found.clearance) else None,
        ways=found.ways if isinstance(found.ways, tuple) and all(map(_is_way, found.ways)) else (),
    )  # fmt: skip


def _plain(value: Any) -> float | None:
    return None if value is None else float(value)


def _faults(found: Finding) -> Iterator[str]:
    """Yield what is wrong with a finding, a few words each."""
    if found.verdict not in list(Verdict):
        accepted = ", ".join(Verdict)
        yield f"verdict {found.verdict!r} is unknown; accepted: {accepted}"
    for key in ("subject", "message", "other", "unit", "remedy"):
        if not isinstance(getattr(found, key), str):
            yield f"{key} is no text"
    if found.message == "":
        yield "message is empty"
    for key in ("start_s", "end_s", "value", "limit"):
        number = getattr(found, key)
        if not (number is None and key in ("value", "limit")) and not _is_finite(number):
            yield f"{key} is {number!r}, not a finite number"
    if found.clearance is not None and not _is_clearance(found.clearance):
        yield "clearance holds what is no distance, time or point"
    if not isinstance(found.ways, tuple) or not all(map(_is_way, found.ways)):
        yield "ways holds what is no way"


def _is_finite(number: Any) -> bool:
    try:
        return math.isfinite(number)
    except (TypeError, ValueError, OverflowError):
        return False


def _is_clearance(detail: Any) -> bool:
    """Tell whether bounds are bounds: the lower may be -inf (contact), the upper inf (not measured)."""
    if not isinstance(detail, ClearanceDetail):
        return False
    points = (*detail.point_a, *detail.point_b)
    bounds = detail.lower_m <= detail.upper_m
    return bounds and all(map(_is_finite, (detail.required_m, detail.time_s, *points, *detail.joints)))


def _is_way(way: Any) -> bool:
    if not isinstance(way, Way):
        return False
    return all(map(_is_finite, (way.time_s, way.lasting_s, *(angle for corner in way.corners for angle in corner))))
