"""New files to fill in: a commented document of any kind, with the URDF and the schema it names, ready to rehearse."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from armcarry.errors import InputError
from armcarry.files.atomic import write_text_atomic
from armcarry.files.document_types import known_keys
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.base import Document
from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.model_files import ModelFile, open_model
from armcarry.files.places import ModelKind, find_model, models_folder
from armcarry.files.reference import Key, all_keys
from armcarry.files.schemas import HINT, schema_name, schema_texts
from armcarry.files.start_texts import ARM, ARM_URDF, HARDWARE, HARDWARE_URDF, PLATFORM, PLATFORM_URDF, RULES, SCENARIO
from armcarry.files.together import write_together
from armcarry.files.validate import FORMATS, read_source
from armcarry.files.yaml_text import read_yaml
from armcarry.files.yaml_write import flow, yaml_document
from armcarry.quantities import write

#: kind of document -> folder of its models; a scenario has none
FOLDERS: dict[str, ModelKind | None] = {
    "scenario": None, "arm": "arms", "platform": "platforms", "crew": "crew", "hardware": "hardware",
    "restraint": "restraints", "rules": "rules",
}  # fmt: skip
#: keys of a scenario that name models it may be given
NAMED = ("platform", "arm", "rules")
#: kinds that begin as a copy of a model that comes along
_COPIED: dict[str, tuple[ModelKind, str]] = {"crew": ("crew", "suited"), "restraint": ("restraints", "foot_restraint")}
_DATA = {"scenario": SCENARIO, "arm": ARM, "platform": PLATFORM, "hardware": HARDWARE, "rules": RULES}
_URDF = {"arm": ARM_URDF, "platform": PLATFORM_URDF, "hardware": HARDWARE_URDF}
WIDTH = 110


def write_new(kind: str, name: str, folder: Path, names: dict[str, str] | None = None) -> list[Path]:
    """Write a new document and what it names into a folder: NAME.yaml, or models/<kind>/NAME/NAME.yaml.

    Args:
        kind: a key of FOLDERS.
        name: lower case, digits, underscores.
        folder: where models/ and schemas/ are, or are made.
        names: for a scenario, key -> model it is to name instead of the demo's: platform, arm, rules. With a platform
            or an arm and no rules, new rules of the scenario's name are written too: the demo's speak of its bodies.

    Returns:
        The paths written, the document first.

    Raises:
        InputError: not such a name, or something stands where a file is to be written.
    """
    if not name or not name.replace("_", "a").isalnum() or not name.isascii() or name != name.lower() or len(name) > 48:
        raise InputError("not an accepted name", found=name[:80], accepted="lower case, digits, underscores")
    if not name[0].isalpha():
        raise InputError("not an accepted name", found=name[:80], accepted="a name that begins with a letter")
    place = FOLDERS[kind]
    home = folder if place is None else folder / "models" / place / name
    document = home / f"{name}.yaml"
    up = "" if place is None else "../../../"
    data, files = _content(kind, name)
    if kind == "rules" and names:
        data = _of_arm(data, _named_arm(names["arm"], folder / f"{name}.yaml"))
    names, beside = dict(names or {}), list[Path]()
    if kind == "scenario" and names and "rules" not in names:
        names["rules"] = name
        if not (folder / "models" / "rules" / name).exists():
            beside = write_new("rules", name, folder, {"arm": names["arm"]} if "arm" in names else None)
    if kind == "scenario":
        data |= _scenario({key: str(names.get(key, data[key])) for key in NAMED}, document)
    form = str(data["format"])
    schema = folder / "schemas" / schema_name(form)
    text = f"{HINT}{up}schemas/{schema.name}\n{commented(FORMATS[form], data)}"
    if document.exists():
        raise InputError("something stands here already", file=document, accepted="another name")
    schema.parent.mkdir(parents=True, exist_ok=True)
    write_text_atomic(schema, schema_texts()[schema.name])  # the same for all documents of its kind
    write_together(home, {**files, document.name: text.encode()}, document.name, "another name")
    return [document, *(home / other for other in files), schema, *beside]


def write_bare(document: Path, names: Mapping[str, str]) -> None:
    """Write a scenario that names its models and nothing else, to be begun from: nobody and nothing is there.

    Args:
        document: the file; its folder is made.
        names: key -> model it is to name instead of the demo's: platform, arm, rules.

    Raises:
        InputError: something stands there already, or there is no such model.
        RecordError: it cannot be written.
    """
    if document.exists() or document.is_symlink():
        raise InputError("something stands here already", file=document, accepted="another name")
    data = {key: value for key, value in SCENARIO.items() if key != "carries"} | dict(names)
    find_model("arms", str(data["arm"]), document)
    find_model("rules", str(data["rules"]), document)
    where = find_model("platforms", str(data["platform"]), document)
    data |= {"title": document.stem.replace("_", " "), "purpose": "To be said: what is brought where, and why.",
             "base": _base(open_model(read_source(where, PlatformDocument)))}  # fmt: skip
    write_text_atomic(document, yaml_document(data))


def _named_arm(arm: str, beside: Path) -> ModelFile[ArmDocument]:
    return open_model(read_source(find_model("arms", arm, beside), ArmDocument))


def _of_arm(rules: dict[str, Any], arm: ModelFile[ArmDocument]) -> dict[str, Any]:
    """Return rules that let what an arm ends with hold a restraint, and what it begins with stand on its mount."""
    model, document = arm.model(), arm.document
    rigid = {document.base: {document.base}, document.tip: {document.tip}}
    for links in rigid.values():
        for _ in model.joints:  # each round finds the next link that is fixed to those found
            links |= {one for j in model.joints if j.kind == "fixed" and {j.parent, j.child} & links
                      for one in (j.parent, j.child)}  # fmt: skip
    ends = ["|".join(f"arm/{body.name}" for body in model.bodies if body.link in links) for links in rigid.values()]
    own = dict(zip(("arm/base*", "arm/hand*"), ends, strict=True))
    contacts = [
        {**one, "bodies": [own.get(body) or body for body in one["bodies"]]} for one in rules["intended_contact"]
    ]
    return {**rules, "intended_contact": contacts}


def _content(kind: str, name: str) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Return a document's data and what lies beside it: relative path -> bytes."""
    if kind in _COPIED:
        place, model = _COPIED[kind]
        source = models_folder() / place / model
        data = dict(read_yaml(source / f"{model}.yaml").data)
        beside = (path for path in sorted(source.rglob("*")) if path.is_file() and path.suffix != ".yaml")
        files = {path.relative_to(source).as_posix(): path.read_bytes() for path in beside}
        return {**data, "title": f"{name}: {data['title']}"}, files
    data = {**_DATA[kind], "title": f"{name}: {_DATA[kind]['title']}"}
    if kind not in _URDF:
        return data, {}
    return {**data, "urdf": f"{name}.urdf"}, {f"{name}.urdf": _URDF[kind].encode()}


def _scenario(named: dict[str, str], document: Path) -> dict[str, Any]:
    """Return what a scenario says of the models it names: where the arm stands, and a first move it can make."""
    arm = _named_arm(named["arm"], document)
    platform = open_model(read_source(find_model("platforms", named["platform"], document), PlatformDocument))
    find_model("rules", named["rules"], document)
    base = _base(platform)
    name = arm.document.joints[0]
    joint = next(joint for joint in arm.model().joints if joint.name == name)
    kind, step = ("angle", math.radians(10.0)) if joint.kind == "revolute" else ("length", 0.1)
    here = arm.document.home[name]
    there = here + step if here + step <= joint.upper else here - step
    moves = [
        {"hold": "5 s", "name": "ready", "say": "Ready"},
        {"one_joint": {name: write(there, kind)}, "name": "out", "say": "Out"},
        {"one_joint": {name: write(here, kind)}, "name": "back", "say": "And back"},
    ]
    return {**named, "base": base, "carries": [{"name": "out_and_back", "moves": moves}]}


def _base(platform: ModelFile[PlatformDocument]) -> dict[str, Any]:
    """Return the first mount of a platform, in the middle of its rail where it has one."""
    mount, place = next(iter(platform.document.mounts.items()))
    if place.joint is None:
        return {"mount": mount}
    rail = next(joint for joint in platform.model().joints if joint.name == place.joint)
    return {"mount": mount, "station": f"{(rail.lower + rail.upper) / 2:.3g} m"}


def commented(document: type[Document], data: dict[str, Any]) -> str:
    """Return a document as YAML, each key under what it means; keys it does without stand at its end."""
    kind = str(data["format"]).split()[1]
    about = {key.path: key for key in all_keys()[kind]}
    lines = _wrapped("Every number here is an assumption: put your own in its place, its origin under sources.", "")
    for key, value in data.items():
        lines += _lines(about, (key,), key, value, "")
    others = [key for key in known_keys(document, ()) if key not in data]
    if others:
        lines += ["", "# -- what may be said too"]
    for key in others:
        lines += [*_wrapped(about[key,].meaning, ""), f"# {about[key,].example}"]
    return "\n".join(lines) + "\n"


def _lines(about: dict[tuple[str, ...], Key], path: tuple[str, ...], key: str, value: Any, indent: str) -> list[str]:
    """Return the lines of a key: what it means, then its value, mappings with keys of their own one below another."""
    found = about.get(path)
    words = "" if found is None else f"{found.meaning}; {found.takes}".removesuffix("; ")
    lines = _wrapped(words, indent)
    if found is None or not found.holds or not isinstance(value, dict) or not value:
        text = yaml_document({key: value}).splitlines()
        return [*lines, *(f"{indent}{line}" for line in text)]
    named = not set(value) <= set(found.holds)  # a mapping of names, each with the keys below it
    lines.append(f"{indent}{key}:")
    for k, (inner, one) in enumerate(value.items()):
        if not named:
            lines += _lines(about, (*path, inner), inner, one, indent + "  ")
        elif k or not isinstance(one, dict):  # the first of several says what its keys mean
            lines += [f"{indent}  {inner}: {flow(one)}"]
        else:
            lines.append(f"{indent}  {inner}:")
            for last, leaf in one.items():
                lines += _lines(about, (*path, "<name>", last), last, leaf, indent + "    ")
    return lines


def _wrapped(words: str, indent: str) -> list[str]:
    lead = f"{indent}# "
    return textwrap.wrap(words, WIDTH, initial_indent=lead, subsequent_indent=lead, break_on_hyphens=False)
