"""Do other engines agree about the tightest pairs? Only when they were asked (``--second-opinion``)."""

from __future__ import annotations

from armcarry.clearance.second_opinion import BANDS_M, EngineAnswer, Opinion
from armcarry.quantities import clock
from armcarry.record.figures import down, near, up
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record

_make = Maker("second_opinion")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding an engine that agrees or is absent, and one for every pair on which one disagrees.

    One more tells what an engine that knows of masses makes of the longest run-outs of late stops.
    """
    return tuple(
        finding for answer in record.engines for finding in (*_judge(answer), *_stops(answer))
    )


def _stops(answer: EngineAnswer) -> tuple[Finding, ...]:
    if not answer.stops:
        return ()
    worst = min(answer.stops, key=lambda stop: stop.spare_m)
    longest = max(answer.stops, key=lambda stop: stop.theirs_m)
    loosest = max(answer.stops, key=lambda stop: stop.off)
    kept = (
        f"keep what must be left, at least {down(worst.spare_m, 'm')} more"
        if worst.agrees
        else f"leave {up(-worst.spare_m, 'm')} less than must be left"
    )
    message = (
        f"{answer.engine} flies the {len(answer.stops)} longest and tightest run-outs with masses and brakes as "
        f"limits of torque: they {kept}, between {worst.body_a} and {worst.body_b} when stopped at "
        f"{clock(worst.time_s)} (looked at in steps). Its tip goes {up(longest.theirs_m, 'm')} to rest at most, ours "
        f"{near(longest.ours_m, 'm')} then; {loosest.joint} is off ours by {up(loosest.off, 'rad')} when stopped at "
        f"{clock(loosest.time_s)}, standing after {near(loosest.theirs_s, 'seconds', 1)}, ours "
        f"{near(loosest.ours_s, 'seconds', 1)}"
    )
    if worst.agrees:
        return (_make.passed(answer.engine, message, other="late stop", at=worst.time_s, value=worst.spare_m,
                             limit=0.0, unit="m"),)  # fmt: skip
    remedy = f"lead the carry farther from there, or slow it at {clock(worst.time_s)}"
    return (_make.failed(answer.engine, message, remedy, other="late stop", at=worst.time_s, value=worst.spare_m,
                         limit=0.0, unit="m"),)  # fmt: skip


def _judge(answer: EngineAnswer) -> list[Finding]:
    band_mm = BANDS_M[answer.engine] * 1e3
    if not answer.present:
        words = f"{answer.engine} is not installed here and was not asked"
        remedy = "install armcarry[oracle] where it has a wheel, or ask elsewhere"
        return [_make.not_assessed(answer.engine, words, remedy)]
    apart = [opinion for opinion in answer.opinions if not opinion.agrees]
    if apart:
        return [_disagreement(opinion) for opinion in apart]
    if not answer.opinions:
        words = f"{answer.engine} was asked about no pair: none comes within the report distance"
        return [_make.not_assessed(answer.engine, words, "widen the rules' report_distance")]
    worst = max(opinion.off_m for opinion in answer.opinions)
    message = (
        f"{answer.engine} agrees on the {len(answer.opinions)} tightest pairs, at most {up(worst, 'mm', 4)} outside "
        f"our bounds; {band_mm:g} mm is its own band"
    )
    return [_make.passed(answer.engine, message, value=worst, limit=BANDS_M[answer.engine], unit="m")]


def _disagreement(opinion: Opinion) -> Finding:
    return _make.failed(
        opinion.body_a,
        f"{opinion.engine} puts {opinion.body_a} and {opinion.body_b} {near(opinion.theirs_m, 'mm', 3)} apart at "
        f"{clock(opinion.time_s)}, we {down(opinion.lower_m, 'mm', 3)} to {up(opinion.upper_m, 'mm', 3)}; "
        f"{BANDS_M[opinion.engine] * 1e3:g} mm is its own band",
        "do not rely on this pair's clearance before the difference is explained",
        other=opinion.body_b,
        at=opinion.time_s,
        value=opinion.off_m,
        limit=BANDS_M[opinion.engine],
        unit="m",
    )
