"""When steps of a day can be done that need daylight, darkness, or a window that the day states."""

from __future__ import annotations

from functools import lru_cache

from armcarry.scene.build import Scene
from armcarry.scene.sky import sky_of

#: how far ahead day and night are looked up, seconds: longer than any day of work
_AHEAD_S = 48.0 * 3600.0
_LIGHT = {"daylight": "day", "darkness": "night"}

Spans = tuple[tuple[float, float], ...]


@lru_cache(maxsize=4)
def windows_of(scene: Scene) -> dict[str, Spans]:
    """Return step -> stretches of the day, (start_s, end_s), in one of which it is done; others have no such need."""
    script = scene.loaded.scenario
    if script.day is None:
        return {}
    named: dict[str, Spans] = {
        name: tuple(sorted((one.start, one.end) for one in spans)) for name, spans in script.day.windows.items()
    }
    wanted = {step.needs for step in script.day.steps}
    if script.environment is not None and wanted & set(_LIGHT):
        spans = sky_of(script.environment).spans(0.0, _AHEAD_S)
        for need, light in _LIGHT.items():
            named.setdefault(need, tuple((span.start_s, span.end_s) for span in spans if span.light == light))
    return {step.name: named[step.needs] for step in script.day.steps if step.needs is not None}
