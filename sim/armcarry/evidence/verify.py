"""The shipped evidence run anew on this machine: published values, engines of others, scenarios with stated verdicts.

What comes of it depends on the code, its data and the machine's engines alone, so that two runs give one digest.
"""

from __future__ import annotations

import hashlib
import json
import platform
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armcarry.comparing.expected import outcome
from armcarry.evidence.engines import engines
from armcarry.evidence.published import published
from armcarry.evidence.row import AGREES, DIFFERS, NOT_RUN, Row
from armcarry.files.examples import Example, examples
from armcarry.files.places import data_folder
from armcarry.motion.rows import Pieces
from armcarry.record.record import Record
from armcarry.rehearsal import judge, rehearse
from armcarry.version import VERSION, installed
from armcarry.whatif.opinions import with_opinions

Tell = Callable[[str, float], None]
FORMAT = "armcarry verification 1"
#: the run that other engines are asked about
ASKED = "pump_box_to_bay_7"
#: scenarios of a few minutes: one that passes, a log, and one that cannot be flown; the others with ``every``
SHORT = (ASKED, "hazard_tip_speed", "unreachable_worksite")
_PACKAGES = ("numpy", "numba", "scipy", "pyarrow", "coal", "pin", "pybullet", "roboticstoolbox-python")
#: how rows of a log are joined
_PIECES: Pieces = "cubic"


@dataclass(frozen=True)
class Verification:
    """All rows, and what they were made with.

    Attributes:
        rows: one a comparison.
        machine: version of the package, of Python and of engines, kind of processor.
        data: digest of models, scenarios, schemas and tables that came along.
    """

    rows: tuple[Row, ...]
    machine: dict[str, str]
    data: str

    @property
    def counts(self) -> dict[str, int]:
        """How many rows agree, differ, and were not run."""
        found = Counter(row.verdict for row in self.rows)
        return {verdict: found[verdict] for verdict in (AGREES, DIFFERS, NOT_RUN)}

    @property
    def agrees(self) -> bool:
        """Whether nothing differs, and something was compared."""
        return self.counts[DIFFERS] == 0 and self.counts[AGREES] > 0

    def as_dict(self) -> dict[str, Any]:
        """Return what is written, its digest last: SHA-256 of all that stands before it."""
        told: dict[str, Any] = {
            "format": FORMAT, "agrees": self.agrees, "counts": self.counts, "machine": self.machine,
            "data_sha256": self.data, "rows": [row.as_dict() for row in self.rows],
        }  # fmt: skip
        return {**told, "sha256": digest_of(told)}


def digest_of(told: dict[str, Any]) -> str:
    """Return the digest of a verification without its own: of its JSON with sorted keys and no blanks."""
    return hashlib.sha256(json.dumps(told, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def verify(every: bool = False, tell: Tell | None = None) -> Verification:
    """Run the evidence.

    Args:
        every: all scenarios that come along, which takes long; else SHORT.
        tell: told what is done, and the share that is done.
    """
    say = tell or (lambda words, share: None)
    say("comparing published values", 0.0)
    rows = [*published()]
    chosen = [example for example in examples() if every or example.name in SHORT]
    for k, example in enumerate(chosen):
        say(f"rehearsing {example.name}", 0.1 + 0.9 * k / len(chosen))
        rows += _scenario(example)
    rows += _left(chosen)
    return Verification(tuple(rows), _machine(), data_digest(data_folder()))


def _scenario(example: Example) -> Iterator[Row]:
    record = rehearse(example.path, motion=example.motion, pieces=_PIECES)
    yield verdicts(example, record)
    if example.name == ASKED:
        yield from engines(with_opinions(record))


def verdicts(example: Example, record: Record) -> Row:
    """Compare the findings of a scenario with those that it states."""
    came = outcome(record.scene.loaded.scenario.expect, judge(record))
    wanted = f"{came.stated} verdicts stated, all others pass" if came.stated else "everything passes"
    ours = "as stated" if came.met else came.line
    name = f"verdicts of {example.name}"
    return Row("scenario", name, f"expect of {example.path.name}", ours, wanted, AGREES if came.met else DIFFERS)


def _left(chosen: Sequence[Example]) -> Iterator[Row]:
    names = {example.name for example in chosen}
    for example in examples():
        if example.name not in names:
            words = "left out; --all runs it too"
            yield Row("scenario", f"verdicts of {example.name}", f"expect of {example.path.name}", words, "", NOT_RUN)


def data_digest(folder: Path) -> str:
    """Return a digest of the models, scenarios and shared files that came along: of their names and bytes."""
    found = hashlib.sha256()
    for part in ("models", "scenarios", "shared"):
        for path in sorted((folder / part).rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                found.update(path.relative_to(folder).as_posix().encode() + b"\0")
                found.update(hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()


def _machine() -> dict[str, str]:
    return {
        "armcarry": VERSION, "python": platform.python_version(), "system": platform.system(),
        "processor": platform.machine(), **{name: installed(name) for name in _PACKAGES},
    }  # fmt: skip


def sheet(told: dict[str, Any]) -> str:
    """Return the page to sign: what was compared, versions, the digest, and lines left blank.

    Args:
        told: of ``Verification.as_dict``.
    """
    counts = ", ".join(f"{count} {verdict}" for verdict, count in told["counts"].items())
    lines = [
        "# Verification of armcarry", "", f"{counts}. {'Nothing differs.' if told['agrees'] else 'NOT AS SHIPPED.'}",
        "What was not run is no agreement.", "",
        "| kind | what | source | here | there | verdict |", "|---|---|---|---|---|---|",
    ]  # fmt: skip
    for row in told["rows"]:
        cells = (row["kind"], row["name"], row["source"], row["ours"], row["wanted"], row["verdict"])
        lines.append("| " + " | ".join(cell.replace("|", "\\|").replace("\n", " ") for cell in cells) + " |")
    lines += ["", "| made with | version |", "|---|---|"]
    lines += [f"| {name} | {found} |" for name, found in told["machine"].items()]
    lines += [
        "", f"Data that came along, SHA-256: `{told['data_sha256']}`", "",
        f"This verification, SHA-256: `{told['sha256']}`", "",
        "This shows that the software gives here what it was shipped to give. Whether that is enough for a use is for",
        "the responsible authorities to say.", "",
        "Run by: ______________________  Date: ______________", "",
        "Reviewed by: _________________  Date: ______________  Signature: ______________________", "",
    ]  # fmt: skip
    return "\n".join(lines)


def write_verification(found: Verification, folder: Path) -> tuple[Path, Path]:
    """Write ``verification.json`` and the page to sign, ``verification.md``, and return their paths.

    Raises:
        OSError: the folder cannot be made, or they cannot be written.
    """
    from armcarry.files.atomic import write_text_atomic

    told = found.as_dict()
    folder.mkdir(parents=True, exist_ok=True)
    data, page = folder / "verification.json", folder / "verification.md"
    write_text_atomic(data, json.dumps(told, indent=1, ensure_ascii=False) + "\n")
    write_text_atomic(page, sheet(told))
    return data, page
