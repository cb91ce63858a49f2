"""What a script leaves open, found: where the arm starts, its base's stations, the restraint's settings, its ways."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from armcarry.files.expand import LeftOpen
from armcarry.files.found import FORMAT, Found, found_of, write_found
from armcarry.files.load import load_scenario
from armcarry.files.loaded import LoadedScenario
from armcarry.files.model_files import ModelFile
from armcarry.files.yaml_text import YamlText
from armcarry.planning.choice import Choice, ways_chosen
from armcarry.planning.found_ways import find_ways
from armcarry.planning.waits import find_waits
from armcarry.scene.build import build_scene

Tell = Callable[[str, float], None]

#: the day is chosen anew at most so often without motions for which no way is found
ROUNDS = 3


def settle(
    path: Path | str,
    tell: Tell | None = None,
    *,
    keep: bool = True,
    text: bytes | YamlText | None = None,
    found: Found | None = None,
    known: dict[Path, ModelFile[Any]] | None = None,
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

    Raises:
        InputError: a file is wrong; InputErrors for several.
    """
    loaded = load_scenario(path, found, text, known)
    if loaded.beside is None or not loaded.beside.open.anything:
        return loaded
    say = tell or (lambda words, share: None)
    found = _find(path, text, loaded, loaded.beside.open, say)
    if keep:
        write_found(found)
    return load_scenario(path, found, text, known)


def _find(path: Path | str, text: bytes | YamlText | None, loaded: LoadedScenario, left: LeftOpen, say: Tell) -> Found:
    digest = "" if loaded.beside is None else loaded.beside.digest
    scene = build_scene(loaded)
    data: dict[str, Any] = {"format": FORMAT, "title": f"found for {loaded.path.name}", "script": digest}
    told, rounds = list[str](), 0
    if loaded.beside is not None and loaded.beside.stale:
        told.append("what was found before was for another state of the script or its models, so all is found anew")
    choice = None
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
    waits, more = find_waits(build_scene(load_scenario(path, found, text)), lambda doing, _: say(doing, 0.95))
    return found_of(loaded.path, {**new, "waits": waits, "told": [*words, *more]})
