"""When steps of a day can be done that need daylight, darkness, or a window that the day states."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.documents.steps import Step
from armcarry.files.documents.vary import SunAngle
from armcarry.geometry.poses import Array
from armcarry.scene.build import Scene
from armcarry.scene.sky import sky_of, stretches_of

#: how far ahead day and night are looked up, seconds: longer than any day of work
_AHEAD_S = 48.0 * 3600.0
#: how far apart the sun is looked at; it takes minutes for a degree or more
_LOOK_S = 10.0
_LIGHT = {"daylight": "day", "darkness": "night"}

Spans = tuple[tuple[float, float], ...]


@lru_cache(maxsize=4)
def windows_of(scene: Scene) -> dict[str, Spans]:
    """Return step -> stretches of the day, (start_s, end_s), in one of which it is done; others have no such need."""
    day = scene.loaded.scenario.day
    wanted = [step for step in day.steps if step.needs is not None or step.sun is not None] if day is not None else []
    named = known_windows(scene.loaded.scenario) if wanted else {}
    found: dict[str, Spans] = {}
    for step in wanted:
        spans = named[step.needs or "daylight"]
        if step.sun is not None:  # by day: in the dark it stands nowhere
            spans = _both(_both(spans, named["daylight"]), _sun_stands(scene, step.sun))
        found[step.name] = spans
    return found


def need_in_words(step: Step) -> str:
    """Return what a step needs of the clock beside instants, in words; empty where it needs nothing."""
    words = [step.needs] if step.needs is not None else []
    if step.sun is not None:
        least, most = (f"{np.degrees(angle):.4g} deg" for angle in (step.sun.least, step.sun.most))
        words.append(f"the sun {least} to {most} from {step.sun.axis} of {step.sun.frame}")
    return " and ".join(words)


def _both(one: Spans, other: Spans) -> Spans:
    """Return the stretches that lie in both."""
    return tuple(sorted((max(a, c), min(b, d)) for a, b in one for c, d in other if max(a, c) < min(b, d)))


def _sun_stands(scene: Scene, wanted: SunAngle) -> Spans:
    """Return the stretches in which the sun's direction is as far off an axis as is wanted, each change to 1 ms."""
    environment = scene.loaded.scenario.environment
    if environment is None:
        return ()
    sky, turned = sky_of(environment), scene.tree.pose_of(wanted.frame, scene.position)[:3, :3]
    axis = turned[:, "xyz".index(wanted.axis[-1])] * (-1.0 if wanted.axis.startswith("-") else 1.0)

    def there(times_s: Array) -> list[bool]:
        angle = np.arccos(np.clip(sky.sun_direction(times_s) @ axis, -1.0, 1.0))
        inside: list[bool] = ((angle >= wanted.least) & (angle <= wanted.most)).tolist()
        return inside

    return tuple((begins, ends) for stands, begins, ends in stretches_of(there, 0.0, _AHEAD_S, _LOOK_S) if stands)


def known_windows(script: ScenarioDocument) -> dict[str, Spans]:
    """Return name -> stretches of the day: of the day's own windows, and of light where an environment is stated."""
    windows = script.day.windows if script.day is not None else {}
    named = {name: tuple(sorted((one.start, one.end) for one in spans)) for name, spans in windows.items()}
    if script.environment is not None:
        spans = sky_of(script.environment).spans(0.0, _AHEAD_S)
        for need, light in _LIGHT.items():
            named.setdefault(need, tuple((span.start_s, span.end_s) for span in spans if span.light == light))
    return named
