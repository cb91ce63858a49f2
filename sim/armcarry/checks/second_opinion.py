"""Do other engines agree about the tightest pairs? Only when they were asked (``--second-opinion``)."""

from __future__ import annotations

import numpy as np

from armcarry.clearance.second_opinion import BANDS_M, EngineAnswer, Opinion
from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record


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
        f"keep what must be left, at least {worst.spare_m:.3f} m more"
        if worst.agrees
        else f"leave {-worst.spare_m:.3f} m less than must be left"
    )
    return (
        Finding(
            "second_opinion",
            Verdict.PASS if worst.agrees else Verdict.FAIL,
            answer.engine,
            f"{answer.engine} flies the {len(answer.stops)} longest and tightest run-outs with masses and brakes as "
            f"limits of torque: they {kept}, between {worst.body_a} and {worst.body_b} when stopped at "
            f"{clock(worst.time_s)} (looked at in steps). Its tip goes {longest.theirs_m:.3f} m to rest at most, ours "
            f"{longest.ours_m:.3f} m then; {loosest.joint} is off ours by {np.degrees(loosest.off):.1f} deg when "
            f"stopped at {clock(loosest.time_s)}, standing after {loosest.theirs_s:.1f} s, ours {loosest.ours_s:.1f} s",
            other="late stop",
            start_s=worst.time_s,
            end_s=worst.time_s,
            value=worst.spare_m,
            limit=0.0,
            unit="m",
            remedy="" if worst.agrees else f"lead the carry farther from there, or slow it at {clock(worst.time_s)}",
        ),
    )


def _judge(answer: EngineAnswer) -> list[Finding]:
    band_mm = BANDS_M[answer.engine] * 1e3
    if not answer.present:
        return [
            Finding(
                "second_opinion",
                Verdict.NOT_ASSESSED,
                answer.engine,
                f"{answer.engine} is not installed here and was not asked",
                remedy="install it where it has a wheel, or ask elsewhere",
            )
        ]
    apart = [opinion for opinion in answer.opinions if not opinion.agrees]
    if apart:
        return [_disagreement(opinion) for opinion in apart]
    worst = max((opinion.off_m for opinion in answer.opinions), default=0.0)
    return [
        Finding(
            "second_opinion",
            Verdict.PASS if answer.opinions else Verdict.NOT_ASSESSED,
            answer.engine,
            f"{answer.engine} agrees on the {len(answer.opinions)} tightest pairs, at most {worst * 1e3:.4f} mm "
            f"outside our bounds; {band_mm:g} mm is its own band",
            value=worst,
            limit=BANDS_M[answer.engine],
            unit="m",
        )
    ]


def _disagreement(opinion: Opinion) -> Finding:
    return Finding(
        "second_opinion",
        Verdict.FAIL,
        opinion.body_a,
        f"{opinion.engine} puts {opinion.body_a} and {opinion.body_b} {opinion.theirs_m * 1e3:.3f} mm apart at "
        f"{clock(opinion.time_s)}, we {opinion.lower_m * 1e3:.3f} to {opinion.upper_m * 1e3:.3f} mm; "
        f"{BANDS_M[opinion.engine] * 1e3:g} mm is its own band",
        other=opinion.body_b,
        start_s=opinion.time_s,
        end_s=opinion.time_s,
        value=opinion.off_m,
        limit=BANDS_M[opinion.engine],
        unit="m",
        remedy="do not rely on this pair's clearance before the difference is explained",
    )
