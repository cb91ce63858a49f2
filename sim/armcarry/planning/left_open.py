"""What a script leaves open, found: where the arm starts, its base's stations, the restraint's settings, its ways."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.errors import ArmcarryError
from armcarry.files.expand import LeftOpen
from armcarry.files.found import FORMAT, Found, found_of, write_found
from armcarry.files.load import load_scenario
from armcarry.files.loaded import LoadedScenario
from armcarry.files.model_files import ModelFile
from armcarry.files.spell import Visit, way_of
from armcarry.files.yaml_text import YamlText
from armcarry.planning.found_ways import find_ways
from armcarry.planning.restraint import find_settings
from armcarry.planning.stations import places_of_base
from armcarry.planning.trial import Base, Reached, Trial
from armcarry.planning.waits import find_waits
from armcarry.scene.build import RESTRAINT, Scene, build_scene

Tell = Callable[[str, float], None]
Settings = Mapping[str, float]

#: distance of the stations that are tried, m
STEP_M = 1.0
#: stations at which settings are compared; one with this much to spare everywhere is taken without others, m
COMPARED, PLENTY_M = 3, 0.1


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
    told: list[str] = []
    if loaded.beside is not None and loaded.beside.stale:
        told.append("what was found before was for another state of the script or its models, so all is found anew")
    if left.visits and (left.base or left.settings or left.rolls or left.start is not None):
        choice = _Choice(scene, left, say)
        data |= choice.written()
        told += choice.told()
    found = found_of(loaded.path, {**data, "told": told})
    if left.ways:
        scene = build_scene(load_scenario(path, found, text))
        ways, words = find_ways(scene, lambda doing, share: say(doing, 0.3 + 0.7 * share))
        data["ways"], told = ways, [*told, *words]
        found = found_of(loaded.path, {**data, "told": told})
        if loaded.scenario.day is not None:
            waits, words = find_waits(build_scene(load_scenario(path, found, text)), say)
            found = found_of(loaded.path, {**data, **({"waits": waits} if waits else {}), "told": [*told, *words]})
    return found


@dataclass(frozen=True)
class _Stay:
    """Worksites that are done from one place of the base: the numbers of their visits."""

    base: Base
    visits: tuple[int, ...]


class _Choice:
    """Settings of the restraint and places of the base from which all that is visited is reached."""

    def __init__(self, scene: Scene, left: LeftOpen, say: Tell) -> None:
        self.scene, self.left, self.say = scene, left, say
        self.bases = self._bases()
        self._trials: dict[tuple[Base, tuple[tuple[str, float], ...]], Trial] = {}
        self._known: dict[tuple[Any, ...], Reached] = {}
        self.settings = self._settings() if left.settings else {}
        say("finding places of the base", 0.15)
        self.stays, self.lost = self._stays()

    # -- what is tried -----------------------------------------------------------------------------------------

    def _bases(self) -> tuple[Base, ...]:
        """Return the places of the base that may be chosen from, the one that the script says first."""
        script = self.scene.loaded.scenario
        mount = self.scene.loaded.platform.document.mounts[script.base.mount]
        said = Base(script.base.mount, float("nan") if mount.joint is None else float(script.base.station or 0.0))
        if not (self.left.base or self.left.rolls):
            return (said,)
        every = places_of_base(self.scene, STEP_M)
        beside = self.scene.loaded.beside
        any_mount = beside is not None and beside.written.document.base.mount != script.base.mount
        own = tuple(base for base in every if any_mount or base.mount == script.base.mount)
        return own if self.left.base else (said, *own)

    def reached(self, visit: Visit, base: Base, settings: Settings) -> Reached:
        """Return how a visit is reached, worked out once."""
        setting = tuple(sorted(settings.items()))
        key = (visit.worksite, visit.loaded, visit.shift, base, setting)
        if key not in self._known:
            if (base, setting) not in self._trials:
                like = next((one for place, one in self._trials.items() if place[0].mount == base.mount), None)
                self._trials[base, setting] = Trial(self.scene, base, settings, like)
            site = self.scene.loaded.platform.document.worksites[visit.worksite]
            ways = [_shifted(way_of(site, loaded), visit.shift) for loaded in dict.fromkeys((visit.loaded, False))]
            self._known[key] = self._trials[base, setting].reach(visit.worksite, ways)
        return self._known[key]

    # -- the restraint -----------------------------------------------------------------------------------------

    def _settings(self) -> Settings:
        """Return the settings with which arm and hands reach all that is visited, with most to spare."""
        if RESTRAINT not in self.scene.loaded.restraints:
            return {}
        tried = self._workable()
        best: tuple[tuple[float, ...], Settings] = ((-np.inf,), {})
        for count, settings in enumerate(tried):
            self.say("finding settings of the restraint", 0.15 * count / len(tried))
            worth = self._worth(settings)
            if worth > best[0]:
                best = (worth, settings)
            if worth[0] == 0 and worth[1] >= PLENTY_M:
                break
        return best[1]

    def _worth(self, settings: Settings) -> tuple[float, ...]:
        """Return how good settings are: minus the visits that are not reached, then the least clearance to spare."""
        least, visits = np.inf, {(v.worksite, v.loaded, v.shift): v for v in self.left.visits}.values()
        for count, visit in enumerate(visits):
            most = -np.inf
            for base in self._compared(visit):
                one = self.reached(visit, base, settings)
                most = max(most, one.clearance_m if one.good else -np.inf)
                if most >= PLENTY_M:
                    break
            if most == -np.inf:  # what is visited later is not looked at
                return (float(count - len(visits)), -np.inf)
            least = min(least, most)
        return (0.0, float(least))

    def _compared(self, visit: Visit) -> tuple[Base, ...]:
        """Return a few places of the base at which settings are compared: where the stand is well in reach."""
        if len(self.bases) <= COMPARED:
            return self.bases
        stand = self.scene.loaded.platform.document.worksites[visit.worksite].stand
        goal = self.scene.tree.pose_of(f"platform/{stand}", self.scene.position)[:3, 3]
        far = np.array([np.linalg.norm(self._root(base) - goal) for base in self.bases])
        order = np.argsort(np.abs(far - self._reach_m() * 0.6), kind="stable")
        return tuple(self.bases[k] for k in order[:COMPARED])

    def _root(self, base: Base) -> np.ndarray:
        mount = self.scene.loaded.platform.document.mounts[base.mount]
        position = self.scene.position.copy()
        if mount.joint is not None:
            position[self.scene.tree.column(f"platform/{mount.joint}")] = base.station_m
        return np.asarray(self.scene.tree.pose_of(f"platform/{mount.frame}", position)[:3, 3])

    def _reach_m(self) -> float:
        return float(Trial(self.scene, self.bases[0]).chain.reach_m)

    def _workable(self) -> list[Settings]:
        """Return settings with at most one adjustment off neutral that bring work before the hands everywhere."""
        document = self.scene.loaded.restraints[RESTRAINT].document
        single: list[Settings] = [{}]
        for name, setting in document.settings.items():
            first, last = round(setting.lowest / setting.step), round(setting.highest / setting.step)
            single += [{name: count * setting.step} for count in range(first, last + 1) if count]
        single.sort(key=lambda one: max((abs(v / document.settings[n].step) for n, v in one.items()), default=0.0))
        good = single
        for site in dict.fromkeys(visit.worksite for visit in self.left.visits):
            able = self._before_hands(site)
            if able is not None:
                good = [one for one in good if _key(one) in able] or good
        return good

    def _before_hands(self, site: str) -> set[tuple[tuple[str, float], ...]] | None:
        """Return the settings that bring all work of a worksite before the hands; None where it states no work."""
        try:
            search = find_settings(self.scene, site, limit=100_000, once=False, clearance_m=0.0)
        except ArmcarryError:
            return None
        return {_key(choice.settings) for choice in search.choices} or None

    # -- the base ----------------------------------------------------------------------------------------------

    def _stays(self) -> tuple[list[_Stay], list[int]]:
        """Return the fewest stays of the base that do all visits in their order, and the visits that none does."""
        stays: list[_Stay] = []
        lost: list[int] = []
        numbers: list[int] = []
        #: from where all that is visited in this stay is reached; at first wherever the base may be
        able = self.bases if self.left.base else self.bases[:1]

        def close() -> None:
            if numbers:
                stays.append(_Stay(max(able, key=lambda base: self._least(numbers, base)), tuple(numbers)))
            numbers.clear()

        for k, visit in enumerate(self.left.visits):
            if visit.said is not None:  # the script rolls the base there itself
                close()
                able = (Base(self.bases[0].mount, visit.said),)
            good = self._from(visit, able)
            if not good and self.left.rolls and visit.said is None:
                close()
                good = self._from(visit, self.bases)
            if good:
                able = good
                numbers.append(k)
            else:
                lost.append(k)
        close()
        return stays, lost

    def _from(self, visit: Visit, bases: Sequence[Base]) -> tuple[Base, ...]:
        return tuple(base for base in bases if self.reached(visit, base, self.settings).good)

    def _least(self, numbers: Sequence[int], base: Base) -> tuple[float, float]:
        found = [self.reached(self.left.visits[k], base, self.settings) for k in numbers]
        return min(one.clearance_m for one in found), min(one.joint_rad for one in found)

    # -- what is written and told --------------------------------------------------------------------------------

    @property
    def first(self) -> Base:
        """Where the base is at the start."""
        return self.stays[0].base if self.stays and self.left.base else self.bases[0]

    def written(self) -> dict[str, Any]:
        """Return what was chosen as it stands in the file."""
        data: dict[str, Any] = {}
        if self.left.base:
            data["base"] = {"mount": self.first.mount}
            if self.first.on_rail is not None:
                data["base"]["station"] = f"{self.first.on_rail:g} m"
        if self.settings:
            data["settings"] = {name: f"{np.degrees(angle):.6g} deg" for name, angle in self.settings.items()}
        if self.left.rolls:
            at = {k: stay.base.on_rail for stay in self.stays for k in stay.visits}
            data["stations"] = [None if at.get(k) is None else f"{at[k]:g} m" for k in range(len(self.left.visits))]
        start = self._start()
        if start is not None:
            chain = self._trials[self.first, tuple(sorted(self.settings.items()))].chain
            joints = self.scene.loaded.arm.document.joints
            data["start"] = {
                joint: f"{np.degrees(value):.6f} deg" if turns else f"{value:.6f} m"
                for joint, value, turns in zip(joints, start, chain.revolute, strict=True)
            }
        return data

    def _start(self) -> tuple[float, ...] | None:
        """Return the joint positions at the start, None where they are not sought or not found."""
        if self.left.start is None:
            return None
        first = self.left.visits[0]
        visit = first if first.worksite == self.left.start else Visit(self.left.start, False, ("start",))
        return self.reached(visit, self.first, self.settings).waits or None

    def told(self) -> list[str]:
        """Return what was chosen in words, and what could not be."""
        words = []
        if self.left.base:
            words.append(f"base: {self.first.title}")
        if self.left.settings:
            set_to = ", ".join(f"{name} {np.degrees(angle):g} deg" for name, angle in self.settings.items())
            words.append(f"restraint: {set_to or 'all settings at 0'}")
        if self.left.start is not None:
            none = "no start of the arm was found, it is at home instead of"
            words.append(f"{'the arm starts' if self._start() is not None else none} before {self.left.start}")
        for before, stay in zip(self.stays, self.stays[1:], strict=False):
            if stay.base != before.base:
                sites = ", ".join(dict.fromkeys(self.left.visits[k].worksite for k in stay.visits))
                words.append(f"base to {stay.base.title} for {sites}")
        for visit in {self.left.visits[k].worksite: self.left.visits[k] for k in reversed(self.lost)}.values():
            why = self.reached(visit, self.first, self.settings).why
            words.append(f"{visit.worksite} is not reached with margin from any place of the base; from "
                         f"{self.first.title}: {why}")  # fmt: skip
        return words


def _shifted(way: Sequence[Sequence[float]], shift: Sequence[float]) -> list[tuple[float, ...]]:
    return [tuple(a + b for a, b in zip(point, shift, strict=True)) for point in way]


def _key(settings: Settings) -> tuple[tuple[str, float], ...]:
    """Return settings as a key: those at 0 left out, rounded."""
    return tuple(sorted((name, round(angle, 6)) for name, angle in settings.items() if abs(angle) > 1e-9))
