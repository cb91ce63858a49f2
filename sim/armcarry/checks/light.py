"""Does the sun hinder sight, and does it light the work?"""

from __future__ import annotations

import numpy as np

from armcarry.checks.work_reach import riders
from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.record.stops import Stop, stops
from armcarry.seeing.glare import LOOK_STEP_S, SHADE_STEP_S, Dazzle, clear_delay_s, dazzle, glare
from armcarry.seeing.sight import sightings
from armcarry.seeing.sunlight import Sun
from armcarry.seeing.worklight import WorkLight, light_on

Stretch = tuple[float, float]


def check(record: Record) -> tuple[Finding, ...]:
    """Give findings on day and night, on every visor, on the cameras that watch, and on every worksite.

    Without an environment in the scenario nothing is assessed.
    """
    if record.scene.loaded.scenario.environment is None:
        return (
            Finding(
                "light", Verdict.NOT_ASSESSED, "sun", "the scenario does not say when it is and how the platform flies",
                remedy="give the scenario an environment: start, orbit, attitude",
            ),
        )
    sun = Sun(record)
    visors = [finding for crew in record.scene.loaded.crew if (finding := _visor(sun, crew)) is not None]
    cameras = [_cameras(item, sightings(record).cameras) for item in dazzle(sun, sightings(record))]
    sites = [_site(sun, stop, crew) for stop in stops(record) for crew in riders(record, stop)]
    return (_day(sun), *visors, *cameras, *sites)


def _day(sun: Sun) -> Finding:
    spans = [(span.light, span.start_s, span.end_s) for span in sun.spans]
    night = sum(end - start for light, start, end in spans if light == "night")
    words = ", ".join(f"{light} {clock(start)} to {clock(end)}" for light, start, end in spans[:7])
    beta = np.degrees(float(sun.sky.orbit.beta_rad(0.0)))
    more = f" and {len(spans) - 7} more" if len(spans) > 7 else ""
    return Finding(
        check="light",
        verdict=Verdict.PASS,
        subject="sun",
        message=f"{words}{more}; the sun stands {beta:.0f} deg out of the orbit's plane",
        end_s=sun.record.duration_s,
        value=float(night),
        unit="s of night",
    )


def _visor(sun: Sun, crew: str) -> Finding | None:
    found = glare(sun, crew)
    if found is None:
        return None
    limit = sun.limits.visor
    lasting = sum(end - start for start, end in found.stretches)
    if found.nearest_s is None:
        words = f"the sun is down all the time {crew} is outside"
        return Finding("light", Verdict.PASS, crew, words, other="visor", limit=limit, unit="rad")
    where = f"{np.degrees(found.nearest_rad):.0f} deg from the axis at {clock(found.nearest_s)}"
    if found.stretches:
        start, end = max(found.stretches, key=lambda item: item[1] - item[0])
        message = (
            f"the sun stands in the visor of {crew} for {clock(lasting)}, longest from {clock(start)} to {clock(end)}, "
            f"{where}; {np.degrees(limit):.0f} deg are asked for (shade looked at every {SHADE_STEP_S:g} s)"
        )
        delay = clear_delay_s(sun, crew)
        other = "" if delay is None else f"start {clock(delay)} later, "
        remedy = f"{other}turn the plate away from the sun, or have {crew} lower the visor's shade from {clock(start)}"
    else:
        start, end, remedy = found.nearest_s, found.nearest_s, ""
        message = f"the sun never shines within {np.degrees(limit):.0f} deg of the axis of the visor of {crew}"
        if found.shaded_s:
            message += f"; for {clock(found.shaded_s)} bodies shade it there (looked at every {SHADE_STEP_S:g} s)"
        else:
            message += f", at no instant; nearest {where}"
    return Finding(
        "light", Verdict.FAIL if found.stretches else Verdict.PASS, crew, message, other="visor", start_s=start,
        end_s=end, value=found.nearest_rad, limit=limit, unit="rad", remedy=remedy,
    )


def _cameras(item: Dazzle, cameras: tuple[str, ...]) -> Finding:
    lengths = np.diff(item.edges_s)
    hit = {name: float(lengths[item.blinded[:, e]].sum()) for e, name in enumerate(cameras)}
    worst = sorted(((time, name) for name, time in hit.items() if time > 0), reverse=True)
    words = ", ".join(f"{name} for {clock(time)}" for time, name in worst[:3])
    more = f" and {len(worst) - 3} more" if len(worst) > 3 else ""
    lost = item.lost
    lasting = float(sum(end - start for start, end in lost))
    step = f"(looked at every {LOOK_STEP_S:g} s)"
    if lost:
        start, end = max(lost, key=lambda part: part[1] - part[0])
        message = (
            f"for {clock(lasting)}, longest from {clock(start)} to {clock(end)}, the sun stands in every camera that "
            f"sees {item.target}: {words}{more} {step}"
        )
        remedy = f"add a camera that sees {item.target} with the sun behind it, or start when the sun stands elsewhere"
    else:
        start = end = 0.0
        remedy = ""
        message = (
            f"the sun stands in cameras that see {item.target}, {words}{more}, but never in all of them {step}"
            if words
            else f"the sun stands in no camera that sees {item.target} {step}"
        )
    return Finding(
        "light", Verdict.FAIL if lost else Verdict.PASS, item.target, message, other="cameras", start_s=start,
        end_s=end, value=lasting, limit=0.0, unit="s", remedy=remedy,
    )


def _site(sun: Sun, stop: Stop, crew: str) -> Finding:
    points = sun.record.scene.loaded.platform.document.worksites[stop.worksite].work_points
    lights = light_on(sun, {name: f"platform/{frame}" for name, frame in points.items()}, stop.start_s, stop.end_s)
    needed = sun.limits.work_needs_light
    night = _overlap(sun, stop)
    span = f"from {clock(stop.start_s)} to {clock(stop.end_s)}"
    if not lights:
        return Finding(
            "light", Verdict.NOT_ASSESSED, crew, f"{stop.worksite} has no work points, so its light is not judged",
            other=stop.worksite, start_s=stop.start_s, end_s=stop.end_s,
            remedy=f"name the work points of {stop.worksite} in the platform's document",
        )
    worst = min(lights, key=lambda item: item.lit)
    dark = worst.lit < 1.0
    message = f"work at {stop.worksite} {span}: night for {clock(night)}; {_lit(worst)}"
    return Finding(
        check="light",
        verdict=Verdict.FAIL if needed and dark else Verdict.PASS,
        subject=crew,
        other=stop.worksite,
        message=message + ("; work must be lit" if needed and dark else ""),
        start_s=stop.start_s,
        end_s=stop.end_s,
        value=worst.lit,
        limit=1.0 if needed else None,
        unit="of the stay in sunlight",
        remedy=f"bring a lamp to {stop.worksite}, or start when the sun lights it" if needed and dark else "",
    )


def _lit(worst: WorkLight) -> str:
    by = f", shaded by {worst.shaded_by}" if worst.shaded_by else ""
    return f"the sun lights {worst.point} for {worst.lit:.0%} of the stay, least of all{by}"


def _overlap(sun: Sun, stop: Stop) -> float:
    spans = (span for span in sun.spans if span.light == "night")
    return sum(max(min(span.end_s, stop.end_s) - max(span.start_s, stop.start_s), 0.0) for span in spans)
