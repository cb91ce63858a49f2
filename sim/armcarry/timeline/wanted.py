"""When steps of a day can be done that need daylight, darkness, or a window that the day states."""

from __future__ import annotations

from functools import lru_cache

from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.scene.build import Scene
from armcarry.scene.sky import sky_of

#: how far ahead day and night are looked up, seconds: longer than any day of work
_AHEAD_S = 48.0 * 3600.0
_LIGHT = {"daylight": "day", "darkness": "night"}

Spans = tuple[tuple[float, float], ...]


@lru_cache(maxsize=4)
def windows_of(scene: Scene) -> dict[str, Spans]:
    """Return step -> stretches of the day, (start_s, end_s), in one of which it is done; others have no such need."""
    day = scene.loaded.scenario.day
    wanted = {step.name: step.needs for step in day.steps if step.needs is not None} if day is not None else {}
    named = known_windows(scene.loaded.scenario) if wanted else {}
    return {name: named[need] for name, need in wanted.items()}


def known_windows(script: ScenarioDocument) -> dict[str, Spans]:
    """Return name -> stretches of the day: of the day's own windows, and of light where an environment is stated."""
    windows = script.day.windows if script.day is not None else {}
    named = {name: tuple(sorted((one.start, one.end) for one in spans)) for name, spans in windows.items()}
    if script.environment is not None:
        spans = sky_of(script.environment).spans(0.0, _AHEAD_S)
        for need, light in _LIGHT.items():
            named.setdefault(need, tuple((span.start_s, span.end_s) for span in spans if span.light == light))
    return named
