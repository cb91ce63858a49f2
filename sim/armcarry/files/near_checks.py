"""What places say may be come near to, and by whom, against who and what is in the script."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from armcarry.files import names
from armcarry.files.documents.zones import Near
from armcarry.files.model_files import ModelFile
from armcarry.files.script import ARM, PLATFORM, RESTRAINT, Script
from armcarry.files.yaml_text import YamlPath

#: words of ``who`` that are no bodies of whoever is there: the restraint below the boots, and what is held
OTHERS = ("restraint", "load")


def check_near(script: Script) -> None:
    """Ask that who may come near, and to what of another model, is there in this scenario."""
    people = [script.files["crew", name, "body"] for name in script.document.crew]
    known = {word for file in people for word in _words(file)}
    told: set[str] = set()
    for file, path, near, accepts in _places(script):
        items = [thing for name, thing in _items(script) if {name, thing.path.stem} & set(accepts)]
        here = known if not accepts else {word for thing in items for word in _words(thing)}
        for word in near.who.split("|"):
            if here and word not in OTHERS and not names.matches_any(word, here):
                problem = file.source.problem(
                    (*path, "who"), f"no group or body '{word[:80]}'", accepted=names.accepted(word, here | set(OTHERS))
                )
                if str(problem) not in told:
                    script.problems.append(problem)
                    told.add(str(problem))


def _words(file: ModelFile[Any]) -> set[str]:
    """Return the names of groups and bodies of a model."""
    bodies = {body.name for urdf in file.urdfs.values() for body in urdf.model.bodies}
    return bodies | set(file.document.groups)


def _items(script: Script) -> Iterator[tuple[str, ModelFile[Any]]]:
    for name, item in script.document.hardware.items():
        file = script.files["hardware", name, "model"]
        yield name, file
        yield item.model, file


def _places(script: Script) -> Iterator[tuple[ModelFile[Any], YamlPath, Near, tuple[str, ...]]]:
    """Yield every place of every model: file, key, what it grants, and the items it is about, if any."""
    platform = script.files[PLATFORM,]
    for kind in ("worksites", "seats", "handrails", "zones"):
        for name, place in getattr(platform.document, kind).items():
            accepts = tuple(place.accepts) if kind == "seats" else ()
            for k, near in enumerate(place.near):
                yield platform, (kind, name, "near", k), near, accepts
    files = {file.path: file for key, file in script.files.items() if key[0] in (ARM, RESTRAINT, "hardware")}
    for file in files.values():
        for k, near in enumerate(file.document.near):
            yield file, ("near", k), near, ()
