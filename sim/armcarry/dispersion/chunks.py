"""Finished runs on disk: one file a chunk, written whole or not at all, so that a campaign can go on later."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
import zlib
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.dispersion.problem import Outcome
from armcarry.errors import RecordError
from armcarry.files.atomic import write_bytes_atomic, write_text_atomic

#: runs a chunk: long enough that handing them out costs nothing, short enough to lose little
CHUNK = 20
_PARTS = ("runs", "values", "lower_m", "upper_m", "time_s")


class Chunks:
    """The chunk files of one campaign in its folder.

    Args:
        folder: of the campaign; made when it is missing.
        identity: what decides the numbers of a run: inputs, seed, version.

    Raises:
        RecordError: the folder holds another campaign, or cannot be written.
    """

    def __init__(self, folder: Path, identity: dict[str, Any]) -> None:
        self.folder = folder / "chunks"
        self.digest = hashlib.sha256(json.dumps(identity, sort_keys=True).encode()).hexdigest()
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RecordError(f"cannot write {folder}: {error.strerror}") from error
        known = folder / "campaign.json"
        if known.is_file():
            _check(folder, known, identity)
        else:
            write_text_atomic(known, json.dumps(identity, indent=1, sort_keys=True) + "\n")

    def _path(self, runs: range) -> Path:
        return self.folder / f"from_{runs.start:07d}.npz"

    def keep(self, outcome: Outcome) -> None:
        """Write a chunk; whoever stops the program finds all of it or nothing."""
        first, count = int(outcome.runs[0]), len(outcome.runs)
        stream = io.BytesIO()
        parts = {name: getattr(outcome, name) for name in _PARTS}
        np.savez_compressed(stream, digest=np.array(self.digest), **parts)
        write_bytes_atomic(self._path(range(first, first + count)), stream.getvalue())

    def find(self, runs: range) -> Outcome | None:
        """Return a chunk of exactly these runs; None when it is missing, damaged, shorter or of other inputs."""
        path = self._path(runs)
        try:
            with np.load(io.BytesIO(path.read_bytes()), allow_pickle=False) as kept:
                if str(kept["digest"]) != self.digest or kept["runs"].tolist() != list(runs):
                    return None
                return Outcome(*(kept[name] for name in _PARTS))
        except (OSError, ValueError, KeyError, EOFError, NotImplementedError, zipfile.BadZipFile, zlib.error):
            return None


def _check(folder: Path, known: Path, identity: dict[str, Any]) -> None:
    try:
        kept = json.loads(known.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise RecordError(f"{known} is damaged; choose another --out") from error
    if kept != identity:
        differ = sorted(key for key in identity if not isinstance(kept, dict) or kept.get(key) != identity[key])
        raise RecordError(
            f"{folder} holds another campaign (different: {', '.join(differ) or 'its format'}); choose another --out"
        )


def chunk_ranges(runs: int) -> list[range]:
    """Return the chunks of a campaign: fixed by the number of a run, not by how many there are."""
    return [range(first, min(first + CHUNK, runs)) for first in range(0, runs, CHUNK)]
