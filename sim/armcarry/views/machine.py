"""What is installed here, what each missing part would add, and whether this machine's graphics can show pictures."""

from __future__ import annotations

import os
import platform
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from armcarry.errors import ArmcarryError
from armcarry.version import VERSION
from armcarry.views import gl

if TYPE_CHECKING:
    from packaging.requirements import Requirement

State = Literal["there", "missing", "not for this machine", "to be done"]

#: extra -> what it adds; those of developers are left out
ADDS = {
    "oracle": "second opinions of coal, pinocchio and pybullet (--second-opinion)",
    "view": "player, windows and movies (play, handfly, brief)",
    "controller": "a game controller for flying by hand (handfly)",
    "brief": "report and cards as PDF, slides (brief)",
    "cluster": "campaigns on more than one process (disperse --workers)",
    "plan": "the best order of a day (schedule, replan)",
    "mesh": "meshes from GLB and COLLADA files (inspect)",
}
#: what a run folder and its pictures may take, bytes
_ROOM = 500_000_000


@dataclass(frozen=True)
class Part:
    """One thing that was looked at.

    Attributes:
        name, state: what it is, and whether it is there.
        words: version, place, or what is missing.
        adds: what it serves.
        remedy: what to type or do where it is missing.
        needed: whether the main job, rehearsing without pictures, needs it.
        versions: of the libraries it is made of.
    """

    name: str
    state: State
    words: str = ""
    adds: str = ""
    remedy: str = ""
    needed: bool = False
    versions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Machine:
    """All parts; ``ready`` where nothing that the main job needs is missing."""

    parts: tuple[Part, ...]

    @property
    def ready(self) -> bool:
        """Whether the main job can run."""
        return not any(part.needed and part.state == "missing" for part in self.parts)

    def as_dict(self) -> dict[str, object]:
        """Return what is printed as JSON."""
        return {"ready": self.ready, "parts": [asdict(part) for part in self.parts]}


def look(folder: Path) -> Machine:
    """Look at this machine; drawing is tried in child processes, about two seconds.

    Args:
        folder: where runs would be written.
    """
    return Machine((_python(), *_libraries(), _data(), _kernels(), _room(folder), *_pictures()))


def _python() -> Part:
    words = f"armcarry {VERSION}, Python {platform.python_version()}, {platform.system()} {platform.machine()}"
    return Part("program", "there", f"{words}, {os.cpu_count()} processors", needed=True)


# -- libraries ----------------------------------------------------------------------------------------------------


def _libraries() -> Iterator[Part]:
    """Yield the core as one part, and each extra that users may want."""
    from packaging.requirements import InvalidRequirement, Requirement

    try:
        asked = [Requirement(line) for line in requires("armcarry") or ()]
    except (PackageNotFoundError, InvalidRequirement):
        words = "armcarry is not installed as a package, so what it needs is not listed"
        yield Part("core", "missing", words, "everything", "pip install armcarry", needed=True)
        return
    yield _of("core", "everything", [one for one in asked if _here(one, "")], reinstall=True)
    for extra, adds in ADDS.items():
        ours = [one for one in asked if one.marker is not None and f'extra == "{extra}"' in str(one.marker)]
        here = [one for one in ours if _here(one, extra)]
        left = sorted({one.name for one in ours} - {one.name for one in here})
        if ours and not here:
            yield Part(extra, "not for this machine", f"no wheel here: {', '.join(left)}", adds)
            continue
        yield _of(extra, adds, here, left)


def _here(one: Requirement, extra: str) -> bool:
    return one.marker is None or bool(one.marker.evaluate({"extra": extra}))


def _of(name: str, adds: str, asked: Iterable[Requirement], left: Iterable[str] = (), reinstall: bool = False) -> Part:
    """Return whether all libraries of one group are there, in the versions asked for."""
    found, wrong = list[str](), list[str]()
    for one in asked:
        try:
            here = version(one.name)
        except PackageNotFoundError:
            wrong.append(one.name)
            continue
        if one.specifier.contains(here, prereleases=True):
            found.append(f"{one.name} {here}")
        else:
            wrong.append(f"{one.name} {here}, asked for is {one.specifier}")
    without = f"; no wheel for this machine: {', '.join(left)}" if left else ""
    if wrong or not found:
        remedy = "pip install armcarry" if reinstall else f"pip install 'armcarry[{name}]'"
        words = "; ".join(wrong) or "the package as it is installed does not know it"
        return Part(name, "missing", f"{words}{without}", adds, remedy, reinstall, tuple(found))
    words = found[0] if len(found) == 1 else f"{len(found)} libraries"
    return Part(name, "there", f"{words}{without}", adds, "", reinstall, tuple(found))


# -- places -------------------------------------------------------------------------------------------------------


def _data() -> Part:
    from armcarry.errors import InputError
    from armcarry.files.places import known_scenarios, scenarios_folder

    try:
        count = len(known_scenarios())
    except (InputError, OSError) as error:
        return Part("examples", "missing", str(error), "models and scenarios by name", "install armcarry anew", True)
    if not count:
        return Part("examples", "missing", f"none in {scenarios_folder()}", "models and scenarios by name",
                    "install armcarry anew", needed=True)  # fmt: skip
    return Part("examples", "there", f"{count} scenarios in {scenarios_folder()}", "models and scenarios by name")


def _kernels() -> Part:
    from armcarry.clearance.jit import compiled_marker

    marker, adds = compiled_marker(), "clearance proofs"
    if marker is None:
        return Part("kernels", "to be done", "no place to keep them can be written: every start compiles", adds,
                    "set NUMBA_CACHE_DIR to a folder that can be written")  # fmt: skip
    if not marker.exists():
        return Part("kernels", "to be done", f"compiled at the first start, into {marker.parent}", adds)
    return Part("kernels", "there", f"compiled in {marker.parent}", adds)


def _room(folder: Path) -> Part:
    """Return whether runs can be written into a folder, which may not be there yet."""
    adds = "where runs are written"
    there = next(place for place in (folder.absolute(), *folder.absolute().parents) if place.exists())
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        return Part("folder", "missing", f"{there} cannot be written", adds, "work in another folder, or use --out",
                    needed=True)  # fmt: skip
    free = shutil.disk_usage(there).free
    words = f"{folder}: {free / 1e9:.1f} GB free"
    if free < _ROOM:
        return Part("folder", "missing", f"{words}; a run and its pictures may take 0.5 GB", adds, "make room",
                    needed=True)  # fmt: skip
    return Part("folder", "there", words, adds)


# -- graphics -----------------------------------------------------------------------------------------------------


def _pictures() -> Iterator[Part]:
    """Yield whether pictures can be drawn without a window, and whether a window can be shown."""
    adds, problem = "pictures of rehearse and brief", gl.problem()
    yield Part("drawing", "there" if problem is None else "missing", problem or gl.renderer(), adds)
    yield _window()


def _window() -> Part:
    from armcarry.views.player import display

    adds = "play, handfly, edit"
    try:
        display.need_libraries()
        display.prepare()
        card = display.Trial().result()
    except ArmcarryError as error:
        return Part("window", "missing", str(error), adds)
    return Part("window", "there", "drawn by a graphics card" if card else "drawn in software, slower", adds)

