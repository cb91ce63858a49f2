"""What a script leaves open, found: where the arm starts, its base's stations, the restraint's settings, its ways."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.files.expand import LeftOpen
from armcarry.files.found import FORMAT, Found, found_of, write_found
from armcarry.files.load import load_scenario
from armcarry.files.loaded import LoadedScenario
from armcarry.files.model_files import ModelFile
from armcarry.files.yaml_text import YamlText
from armcarry.planning.choice import Choice, bases_of, settings_of, ways_chosen
from armcarry.planning.clock import WORTH_M, Clock
from armcarry.planning.exchanges import Exchanges
from armcarry.planning.found_ways import find_ways
from armcarry.planning.past_arm import goes_past
from armcarry.planning.stops import stops_of
from armcarry.planning.waits import waits_of
from armcarry.scene.build import Scene, build_scene
from armcarry.timeline.day_run import settled_day
from armcarry.timeline.plan import DayPlan

Tell = Callable[[str, float], None]

#: the day is chosen anew at most so often without motions for which no way is found
ROUNDS = 3
#: settings of the restraint with which places to get on and off are sought
TRIED = 4


def settle(
    path: Path | str,
    tell: Tell | None = None,
    *,
    keep: bool = True,
    text: bytes | YamlText | None = None,
    found: Found | None = None,
    known: dict[Path, ModelFile[Any]] | None = None,
    loaded: LoadedScenario | None = None,
) -> LoadedScenario:
    """Read a scenario, and find what it leaves open where that is not found yet.

    What is found is written beside the script (``NAME.found.json``) if the folder takes it, so that the next time is
    the same, and at once. It holds for this state of script and models; for another it is found anew.

    Args:
        path: the script, or the name of one that comes with armcarry.
        tell: told what is being done and the share of the whole.
        keep: write what is found.
        text: the script, where it stands in no file yet; ``path`` is then where it would.
        found: what was found for it before, if it stands in no file.
        known: models that were read before; see ``load_scenario``.
        loaded: the scenario, where it was just read.

    Raises:
        InputError: a file is wrong; InputErrors for several.
    """
    loaded = load_scenario(path, found, text, known) if loaded is None else loaded
    if loaded.beside is None or not loaded.beside.open.anything:
        return loaded
    say = tell or (lambda words, share: None)
    found = _find(path, text, loaded, loaded.beside.open, say)
    if keep:
        write_found(found)
    return load_scenario(path, found, text, known)


def _find(path: Path | str, text: bytes | YamlText | None, loaded: LoadedScenario, left: LeftOpen, say: Tell) -> Found:
    digest = "" if loaded.beside is None else loaded.beside.digest
    data: dict[str, Any] = {"format": FORMAT, "title": f"found for {loaded.path.name}", "script": digest}
    told, rounds = list[str](), 0
    if loaded.beside is not None and loaded.beside.stale:
        told.append("what was found before was for another state of the script or its models, so all is found anew")

    def read(more: dict[str, Any]) -> LoadedScenario:
        return load_scenario(path, found_of(loaded.path, {**data, **more}), text)

    if left.exchanges:
        more, words = _places(build_scene(loaded), left, read, say)
        data, told = data | more, [*told, *words]
        loaded = read({"unfinished": True})
        left = left if loaded.beside is None else loaded.beside.long.open
        left = replace(left, settings=left.settings and "settings" not in more)
    scene, choice = build_scene(loaded), None
    if left.visits and (left.base or left.settings or left.rolls or left.start is not None):
        choice = Choice(scene, left, say)
    while True:
        new = data | ({} if choice is None else choice.written())
        words = [*told, *([] if choice is None else choice.told())]
        found = found_of(loaded.path, {**new, "told": words})
        if not left.ways:
            return found
        scene = build_scene(load_scenario(path, found, text))
        chosen = {} if choice is None else ways_chosen(choice, scene)
        points = {key: ends for key, (_, ends) in chosen.items()}
        rounds += 1
        last = choice is None or rounds == ROUNDS
        ways = find_ways(scene, lambda doing, share: say(doing, 0.3 + 0.6 * share), points, last=last)
        lost = {chosen[key][0] for key in ways.lost}
        if choice is None or last or not lost:
            break
        choice.without(lost)
    new["ways"], words = ways.ways, [*words, *ways.told]
    found = found_of(loaded.path, {**new, "told": words})
    if loaded.scenario.day is None:
        return found
    more = _afoot(
        lambda data: build_scene(load_scenario(path, found_of(loaded.path, {**new, **data}), text)),
        lambda doing, _: say(doing, 0.95),
    )
    return found_of(loaded.path, {**new, **more, "told": [*words, *more["told"]]})


def _afoot(read: Callable[[dict[str, Any]], Scene], tell: Tell) -> dict[str, Any]:
    """Return who goes past the arm where it stands still and who waits for whom, as written, and what is told of it.

    First bodies are turned clear of where the arm is as they set off; then people and arm wait; then, with these waits,
    bodies are turned clear of the arm where it stands by then, if that leaves less lacking.

    Args:
        read: gives the scene with what was found.
        tell: told what is being done.
    """

    def clocked(data: dict[str, Any]) -> tuple[Clock, DayPlan] | None:
        scene = read(data)
        walk, plan = settled_day(scene, tell)
        return None if walk.shortfall is not None else (Clock(scene, walk, plan, 0.0), plan)

    first = clocked({})
    if first is None:
        return {"told": []}
    past: dict[str, dict[str, Any]] = {one["step"]: one for one in goes_past(*first, waits=True)}
    again = clocked({"past": [*past.values()]}) if past else None
    if again is not None and again[0].lacking_m(again[1]) <= first[0].lacking_m(first[1]) + WORTH_M:
        first = again
    else:
        past = {}
    found = waits_of(*first, tell)
    best = {"past": [*past.values()], "waits": found.waits, "told": found.told}
    later = {one["step"]: one for one in goes_past(first[0], found.plan)}
    if not later:
        return best
    more = {**best, "past": [*(past | later).values()]}
    again = clocked({key: more[key] for key in ("past", "waits")})
    if again is None or again[0].lacking_m(again[1]) >= first[0].lacking_m(found.plan) - WORTH_M:
        return best
    anew = waits_of(*again, tell)  # of what is still lacking
    told = [words for words in found.told if not words.startswith("no way")]
    return {**more, "waits": [*found.waits, *anew.waits], "told": [*told, *anew.told]}


def _places(
    scene: Scene, left: LeftOpen, read: Callable[[dict[str, Any]], LoadedScenario], say: Tell
) -> tuple[dict[str, Any], list[str]]:
    """Return settings of the restraint and the places where people get on and off, as written, and in words.

    Of the few best settings the first is taken with which everybody gets on and off with what is asked.
    """
    best: tuple[float, dict[str, Any], list[str], Exchanges] | None = None
    like: Exchanges | None = None
    for tried in settings_of(scene, left, say, TRIED):
        more: dict[str, Any] = {}
        if left.settings:
            more["settings"] = {name: f"{np.degrees(angle):.6g} deg" for name, angle in tried.settings.items()}
        loaded = read({**more, "unfinished": True})
        placed, own = build_scene(loaded), left if loaded.beside is None else loaded.beside.long.open
        stops = stops_of(placed, own.visits)
        found = Exchanges(placed, own, stops, bases_of(placed, own, stops), lambda words: say(words, 0.05), like)
        like = found
        words, lacking = [tried.told] if left.settings else [], found.lacking_m + tried.lacking_m
        if best is None or lacking < best[0]:
            best = (lacking, {**more, "places": found.places}, words, found)
        if lacking <= 0.0:
            break
    return ({}, []) if best is None else (best[1], [*best[2], *best[3].explained()])
