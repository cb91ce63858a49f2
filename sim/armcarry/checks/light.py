"""Does the sun hinder sight, and does it light the work?"""

from __future__ import annotations

import numpy as np

from armcarry.quantities import clock
from armcarry.record.figures import at_least, up
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.seeing.glare import LOOK_STEP_S, SHADE_STEP_S, Dazzle, Glare, clear_delay_s, hindered
from armcarry.seeing.sight import sightings
from armcarry.seeing.sunlight import Sun
from armcarry.seeing.worklight import WorkLight, light_on
from armcarry.working.stops import Stop, riders, stops

Stretch = tuple[float, float]
_make = Maker("light")


def check(record: Record) -> tuple[Finding, ...]:
    """Give findings on day and night, on every visor, on the cameras that watch, and on every worksite.

    Without an environment in the scenario nothing is assessed.
    """
    if record.scene.loaded.scenario.environment is None:
        words = "the scenario does not say when it is and how the platform flies"
        return (_make.not_assessed("sun", words, "give the scenario an environment: start, orbit, attitude"),)
    sun = Sun(record)
    found = hindered(record)
    visors = [_visor(sun, item) for item in found.visors]
    cameras = [_cameras(item, sightings(record).cameras) for item in found.cameras]
    sites = [_site(sun, stop, crew) for stop in stops(record) for crew in riders(record, stop)]
    return (_day(sun), *visors, *cameras, *sites)


def _day(sun: Sun) -> Finding:
    spans = [(span.light, span.start_s, span.end_s) for span in sun.spans]
    night = sum(end - start for light, start, end in spans if light == "night")
    words = ", ".join(f"{light} {clock(start)} to {clock(end)}" for light, start, end in spans[:7])
    beta = np.degrees(float(sun.sky.orbit.beta_rad(0.0)))
    more = f" and {len(spans) - 7} more" if len(spans) > 7 else ""
    return _make.passed(
        "sun",
        f"{words}{more}; the sun stands {beta:.0f} deg out of the orbit's plane",
        at=(0.0, sun.record.duration_s),
        value=float(night),
        unit="s of night",
    )


def _visor(sun: Sun, found: Glare) -> Finding:
    crew, limit = found.crew, sun.limits.visor
    lasting = sum(end - start for start, end in found.stretches)
    if found.nearest_s is None:
        words = f"the sun is down all the time {crew} is outside"
        return _make.passed(crew, words, other="visor", limit=limit, unit="rad")
    angle = at_least(found.nearest_rad, limit, "rad")
    where = f"{angle.said} from the axis at {clock(found.nearest_s)}"
    if found.stretches:
        start, end = max(found.stretches, key=lambda item: item[1] - item[0])
        message = (
            f"the sun stands in the visor of {crew} for {clock(lasting)}, longest from {clock(start)} to {clock(end)}, "
            f"{where}; {angle.asked} are asked for (shade looked at every {SHADE_STEP_S:g} s)"
        )
        delay = clear_delay_s(sun, crew)
        later = "" if delay is None else f"start {up(delay, 's')} later, "
        remedy = f"{later}turn the plate away from the sun, or have {crew} lower the visor's shade from {clock(start)}"
        return _make.failed(
            crew, message, remedy, other="visor", at=(start, end), value=found.nearest_rad, limit=limit, unit="rad"
        )
    message = f"the sun never shines within {angle.asked} of the axis of the visor of {crew}"
    if found.shaded_s:
        message += f"; for {clock(found.shaded_s)} bodies shade it there (looked at every {SHADE_STEP_S:g} s)"
    else:
        message += f", at no instant; nearest {where}"
    return _make.passed(
        crew, message, other="visor", at=found.nearest_s, value=found.nearest_rad, limit=limit, unit="rad"
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
        return _make.failed(
            item.target,
            f"for {clock(lasting)}, longest from {clock(start)} to {clock(end)}, the sun stands in every camera that "
            f"sees {item.target}: {words}{more} {step}",
            f"add a camera that sees {item.target} with the sun behind it, or start when the sun stands elsewhere",
            other="cameras", at=(start, end), value=lasting, limit=0.0, unit="s",
        )  # fmt: skip
    message = (
        f"the sun stands in cameras that see {item.target}, {words}{more}, but never in all of them {step}"
        if words
        else f"the sun stands in no camera that sees {item.target} {step}"
    )
    return _make.passed(item.target, message, other="cameras", value=lasting, limit=0.0, unit="s")


def _site(sun: Sun, stop: Stop, crew: str) -> Finding:
    points = sun.record.scene.loaded.platform.document.worksites[stop.worksite].work_points
    lights = light_on(sun, {name: f"platform/{frame}" for name, frame in points.items()}, stop.start_s, stop.end_s)
    needed = sun.limits.work_needs_light
    night = _overlap(sun, stop)
    span = f"from {clock(stop.start_s)} to {clock(stop.end_s)}"
    if not lights:
        return _make.not_assessed(
            crew, f"{stop.worksite} has no work points, so its light is not judged",
            f"name the work points of {stop.worksite} in the platform's document",
            other=stop.worksite, at=(stop.start_s, stop.end_s),
        )  # fmt: skip
    worst = min(lights, key=lambda item: item.lit)
    lit = at_least(worst.lit, 1.0, "%")
    message = f"work at {stop.worksite} {span}: night for {clock(night)}; {_lit(worst, lit.said)}"
    during, unit = (stop.start_s, stop.end_s), "of the stay in sunlight"
    if not needed or lit.kept:
        limit = 1.0 if needed else None
        return _make.passed(crew, message, other=stop.worksite, at=during, value=worst.lit, limit=limit, unit=unit)
    remedy = f"bring a lamp to {stop.worksite}, or start when the sun lights it"
    return _make.failed(
        crew, f"{message}; work must be lit", remedy, other=stop.worksite, at=during, value=worst.lit, limit=1.0,
        unit=unit,
    )  # fmt: skip


def _lit(worst: WorkLight, said: str) -> str:
    by = f", shaded by {worst.shaded_by}" if worst.shaded_by else ""
    return f"the sun lights {worst.point} for {said} of the stay, least of all{by}"


def _overlap(sun: Sun, stop: Stop) -> float:
    spans = (span for span in sun.spans if span.light == "night")
    return sum(max(min(span.end_s, stop.end_s) - max(span.start_s, stop.start_s), 0.0) for span in spans)
