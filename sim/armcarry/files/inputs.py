"""The files a scenario was read from, where each stands in a copy, and how a copy is read again."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path, PurePosixPath
from typing import Any

from armcarry.errors import InputError
from armcarry.files import places
from armcarry.files.loaded import InputFile
from armcarry.files.model_files import ModelFile
from armcarry.files.places import ModelKind
from armcarry.files.yaml_text import read_bytes

MANIFEST = "inputs.json"
FORMAT = "armcarry inputs 1"
_MAX_BYTES = 2_000_000


class Inputs:
    """Collects input files and gives each its role path; finds models, in a copy by its manifest.

    Args:
        scenario: the script.
        manifest: what ``inputs.json`` beside it holds, None where there is none.
    """

    def __init__(self, scenario: Path, manifest: dict[str, Any] | None) -> None:
        self.scenario = scenario
        self.manifest = manifest
        self.files: dict[str, InputFile] = {}
        self.roles: dict[Path, str] = {}
        self.models: dict[str, dict[str, str]] = {}

    @staticmethod
    def beside(scenario: Path) -> Inputs:
        """Return an empty collection for a scenario, with the manifest beside it if it is a copy.

        Raises:
            InputError: the manifest is damaged, or a file of the copy is not what the manifest says.
        """
        path = scenario.parent / MANIFEST
        if scenario.name != "scenario.yaml" or not path.is_file():
            return Inputs(scenario, None)
        content = read_bytes(path, _MAX_BYTES, "manifest")
        try:
            manifest = json.loads(content)
            good = manifest["format"] == FORMAT
            digests, models = dict(manifest["sha256"]), dict(manifest["models"])
            named = [str(file) for kind in models.values() for file in dict(kind).values()]
        except (ValueError, KeyError, TypeError, RecursionError):
            good = False
        if not good:
            raise InputError("not a whole list of inputs", file=path, accepted=f"format {FORMAT}")
        for role, digest in digests.items():
            found = hashlib.sha256(read_bytes(_within(path, role), 50_000_000, "input")).hexdigest()
            if found != digest:
                raise InputError(
                    f"this copy of an input was changed after the run, see {MANIFEST}",
                    file=scenario.parent / role,
                    accepted=f"the file of the run; to use the folder as your own scenario, delete {MANIFEST}",
                )
        for role in named:
            if role not in digests:
                raise InputError("a model without a digest", file=path, found=role)
        return Inputs(scenario, manifest)

    def find(self, kind: ModelKind, wanted: str, beside: Path, line: int) -> Path:
        """Return the YAML of a model: in a copy the one of the manifest, else as ``places.find_model`` says.

        Raises:
            InputError: no such model.
        """
        if self.manifest is None:
            return places.find_model(kind, wanted, beside, line)
        role = self.manifest["models"].get(kind, {}).get(wanted)
        if role is None:
            raise InputError(
                f"{MANIFEST} of this copy names no '{wanted[:80]}' among {kind}", file=beside, line=line
            )
        return _within(beside, str(role))

    def add(self, role_path: str, path: Path, data: bytes) -> None:
        """Keep a file."""
        self.files[role_path] = InputFile(role_path, path, data)
        self.roles[path] = role_path

    def add_model(self, kind: ModelKind, wanted: str, model: ModelFile[Any]) -> None:
        """Keep a model's YAML, URDFs and meshes under models/<kind>/<name>/."""
        named = self.models.setdefault(kind, {})
        if model.path in self.roles:
            named[wanted] = self.roles[model.path]
            return
        folder = self._free_folder(kind, model.path.stem)
        base = model.path.parent.resolve()
        role = f"{folder}/{model.path.name}"
        named[wanted] = role
        self.add(role, model.path, model.source.yaml.content)
        for urdf in model.urdfs.values():
            for path, data in urdf.files.items():
                self.add(f"{folder}/{path.resolve().relative_to(base).as_posix()}", path, data)

    def _free_folder(self, kind: str, stem: str) -> str:
        taken = {str(PurePosixPath(role).parent) for role in self.files}
        number, folder = 1, f"models/{kind}/{stem}"
        while any(place == folder or place.startswith(f"{folder}/") for place in taken):
            number += 1
            folder = f"models/{kind}/{stem}_{number}"
        return folder

    def role(self, path: Path) -> str:
        """Return the role path of a file that was kept."""
        return self.roles[path]

    def all(self) -> tuple[InputFile, ...]:
        """Return every file, the manifest last."""
        manifest = {
            "format": FORMAT,
            "models": {kind: dict(sorted(named.items())) for kind, named in sorted(self.models.items())},
            "sha256": {role: file.sha256 for role, file in sorted(self.files.items())},
        }
        data = (json.dumps(manifest, indent=1) + "\n").encode()
        return (*self.files.values(), InputFile(MANIFEST, self.scenario.parent / MANIFEST, data))


def _within(beside: Path, role: str) -> Path:
    """Return the path of a role beside a file. Raises InputError when it would lead elsewhere."""
    plain = PurePosixPath(role)
    if plain.is_absolute() or ".." in plain.parts or any(sign in role for sign in "\\:\0"):
        raise InputError("a path that leads out of this folder", file=beside.parent / MANIFEST, found=role[:200])
    return beside.parent / plain
