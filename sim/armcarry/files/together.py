"""Several files that make one thing, as a model's document, URDF and meshes: written as a whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from armcarry.errors import InputError, RecordError
from armcarry.files.atomic import building, note_whole, reason, swap, sync_folder


def write_together(folder: Path, files: Mapping[str, bytes], head: str, accepted: str) -> None:
    """Write files into a folder that may be new; whoever finds ``head`` there finds all of them, whole.

    A new folder comes there as a whole. Into one that is there the files are moved once all of them are written, the
    head last; others that stand there with the same content already, as a killed program leaves them, are no hindrance.

    Args:
        folder: where; its parents are made.
        files: path in the folder -> content.
        head: the one of them that names the others.
        accepted: what the user may do where something stands in the way.

    Raises:
        InputError: something stands in the way; nothing was changed.
        RecordError: they cannot be written; nothing was changed.
    """
    place = Path(os.path.abspath(folder))  # noqa: PTH100  # a name to build beside, which '.' has not; links stay
    try:
        for name, content in files.items():
            if _stands(folder / name, None if name == head else content):
                raise InputError("something stands here already", file=folder / name, accepted=accepted)
        there = place.exists()
        place.parent.mkdir(parents=True, exist_ok=True)
        with building(place / "files" if there else place) as partial:
            for name, content in files.items():
                _write(partial / name, content)
            if there:
                _move(partial, place, [*(name for name in files if name != head), head])
            else:
                swap(partial, place)
    except OSError as error:
        raise RecordError(f"cannot write {folder}: {reason(error)}; nothing there was changed") from error


def _stands(path: Path, content: bytes | None) -> bool:
    """Tell whether a file would be written over, and one of another content."""
    if path.is_symlink() or (path.exists() and not path.is_file()):
        return True
    return path.exists() and (content is None or path.read_bytes() != content)


def _write(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _move(partial: Path, folder: Path, names: list[str]) -> None:
    for name in names:
        target = folder / name
        target.parent.mkdir(parents=True, exist_ok=True)
        (partial / name).replace(target)
        sync_folder(target.parent)
    note_whole(folder / names[-1])
