"""A session file: every command as it was given, written as it goes, so that a crash loses a second at most.

One JSON document a line. The first says what was flown; ``c`` lines give the command from a tick on, ``act`` lines
the acts, ``fault`` lines what went wrong, ``view`` lines that another view was chosen, ``q`` lines the joint
positions as a check. A last line that was cut off
is left out; any other damage is refused. Flying the commands again gives the same positions, bit for bit.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.errors import ArmcarryError, InputError, RecordError
from armcarry.files.atomic import note_whole, reason
from armcarry.files.yaml_text import read_bytes
from armcarry.handfly.command import RATE_HZ, Command
from armcarry.handfly.control import Fault, Pilot
from armcarry.handfly.course import Course
from armcarry.handfly.flight import Flight
from armcarry.scene.build import Scene

FORMAT = "armcarry hand-flown session 1"
#: positions are written as a check, and the file is forced to disk, this often
_CHECK_TICKS = 2 * RATE_HZ
#: of a session that may come from others; an hour of hands that never rest takes 40 MB
MOST_BYTES, MOST_TICKS = 200_000_000, 8 * 3600 * RATE_HZ


def digest(scene: Scene) -> str:
    """Return one digest of all files a scene was read from, hexadecimal."""
    text = "".join(sorted(f"{item.sha256}" for item in scene.loaded.inputs))
    return hashlib.sha256(text.encode()).hexdigest()


class Writer:
    """Appends to a session file while it is flown; each call raises RecordError where it cannot be written on."""

    def __init__(self, path: Path, scene: Scene, seed: int = 0) -> None:
        """Begin a new file.

        Raises:
            RecordError: it is there already, or cannot be written.
        """
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            # without a buffer: what a full disk refuses is not tried again when the file is closed
            self._file = path.open("xb", buffering=0)
        except FileExistsError as error:
            raise RecordError(f"{path} is there already; choose another name") from error
        except OSError as error:
            raise RecordError(f"{path} cannot be written: {reason(error)}") from error
        self._path = path
        self._last = Command()
        try:
            self._write({
                "format": FORMAT, "scenario": scene.loaded.path.name, "inputs": digest(scene), "rate_hz": RATE_HZ,
                "seed": seed,
            })  # fmt: skip
        except RecordError:  # nothing was flown: the name stays free
            self._file.close()
            path.unlink()
            raise
        note_whole(path)

    def step(self, pilot: Pilot, command: Command) -> None:
        """Note the command that is about to be flown; nothing is written while it stays the same."""
        if command != self._last:
            self._write({"t": pilot.tick, "c": command.as_dict()})
            self._last = command
        if pilot.tick % _CHECK_TICKS == 0:
            self._write({"t": pilot.tick, "q": [float(v).hex() for v in pilot.q]}, lasting=True)

    def act(self, pilot: Pilot) -> None:
        """Note an act that was done."""
        self._write({"t": pilot.tick, "act": True})

    def fault(self, pilot: Pilot, fault: Fault) -> None:
        """Note what goes wrong."""
        self._write({"t": pilot.tick, "fault": asdict(fault)})

    def view(self, pilot: Pilot) -> None:
        """Note that another view was chosen."""
        self._write({"t": pilot.tick, "view": True})

    def close(self, pilot: Pilot) -> None:
        """End the file."""
        self._write({"t": pilot.tick, "q": [float(v).hex() for v in pilot.q]})
        self._write({"t": pilot.tick, "end": True})
        self._file.close()

    def _write(self, content: dict[str, Any], *, lasting: bool = False) -> None:
        line, begin = json.dumps(content, separators=(",", ":")).encode() + b"\n", self._file.tell()
        try:
            while line:  # a disk that is nearly full takes a part
                line = line[self._file.write(line) :]
            if lasting:
                os.fsync(self._file.fileno())
        except OSError as error:
            self._file.truncate(begin)  # so that whoever flies on, once there is room, ends no broken line
            self._file.seek(begin)
            words = f"{self._path} cannot be written on: {reason(error)}; what was flown until then is kept there"
            raise RecordError(words) from error


@dataclass(frozen=True)
class Session:
    """A session as read: header, lines by tick, and whether it was ended or cut off."""

    path: Path
    header: dict[str, Any]
    lines: tuple[tuple[int, int, dict[str, Any]], ...]
    ended: bool


def read_session(path: Path) -> Session:
    """Read a session file.

    Raises:
        InputError: it is no session, too long to be flown again, or a line other than the last is damaged; the message
            names the line.
    """
    raw = read_bytes(path, MOST_BYTES, "session").decode("utf-8", errors="replace").split("\n")
    whole, rest = raw[:-1], raw[-1]  # what follows the last line break was cut off
    header: dict[str, Any] | None = None
    lines: list[tuple[int, int, dict[str, Any]]] = []
    for number, line in enumerate(whole, start=1):
        try:
            content = json.loads(line)
        except (ValueError, RecursionError) as error:
            raise InputError("a damaged line", file=path, line=number, found=line[:60]) from error
        if number == 1:
            if not isinstance(content, dict) or content.get("format") != FORMAT:
                raise InputError("not a hand-flown session", file=path, line=1, found=line[:60], accepted=FORMAT)
            header = content
            continue
        tick = content.get("t") if isinstance(content, dict) else None
        before = lines[-1][0] if lines else 0
        # every other second a line is written, so that none can ask for hours of flight
        if not isinstance(tick, int) or not before <= tick <= min(before + _CHECK_TICKS, MOST_TICKS):
            raise InputError("a line out of order", file=path, line=number, found=line[:60])
        lines.append((tick, number, content))
    if header is None:
        raise InputError("not a hand-flown session", file=path, found=rest[:60] or "an empty file", accepted=FORMAT)
    return Session(path, header, tuple(lines), bool(lines and "end" in lines[-1][2]))


def replay(session: Session, scene: Scene, course: Course) -> Flight:
    """Fly a session again.

    Raises:
        InputError: the scene is another one, or the flight does not come out as it was noted.
    """
    if session.header.get("inputs") != digest(scene):
        raise InputError(
            "the session was flown with other files than these", file=session.path,
            found=session.header.get("scenario"), accepted="the scenario, models and rules it was flown with",
        )
    flight = Flight(scene, course)
    command = Command()
    for tick, number, content in session.lines:
        while flight.pilot.tick < tick:
            flight.step(command)
        try:
            command = _again(flight, content, command)
        except (ArmcarryError, TypeError, ValueError, AttributeError) as error:
            raise InputError(f"{error}", file=session.path, line=number) from error
    return flight


def _fault(content: dict[str, Any]) -> Fault:
    fault = Fault(**content)
    numbers = (fault.tick, fault.joint, fault.rate, fault.late_s)
    if not all(isinstance(value, int | float) and abs(value) <= MOST_TICKS for value in numbers):
        raise InputError("not a fault", found=str(content)[:80])
    return fault


def _again(flight: Flight, content: dict[str, Any], command: Command) -> Command:
    """Do what a line says and return the command that holds from then on."""
    if "c" in content:
        return Command.of(content["c"])
    if "act" in content:
        said = flight.act()
        if said:
            raise InputError(f"the act cannot be done again: {said}")
    elif "fault" in content:
        flight.fail(_fault(content["fault"]))
    elif "view" in content:
        flight.look()
    elif "q" in content:
        noted = np.array([float.fromhex(value) for value in content["q"]])
        if not np.array_equal(noted, flight.pilot.q):
            apart = float(np.abs(noted - flight.pilot.q).max())
            raise InputError(f"the flight comes out differently, by {apart:.3g} rad or m")
    return command
