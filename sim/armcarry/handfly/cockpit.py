"""A seat to fly from, whatever shows it: flight, session file, faults and what is kept of a try; no window here."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from armcarry.errors import InputError, RecordError
from armcarry.files.atomic import write_bytes_atomic
from armcarry.files.motion_log import read_motion_log
from armcarry.handfly.chance import Chance
from armcarry.handfly.command import Command
from armcarry.handfly.control import Fault
from armcarry.handfly.course import Course
from armcarry.handfly.flight import Flight
from armcarry.handfly.hands import Hands
from armcarry.handfly.score import HEADINGS, Score, log_bytes, score, write_script
from armcarry.handfly.session import Writer, read_session, replay
from armcarry.planning.left_open import settle
from armcarry.record.record import Record
from armcarry.record.store import load, save
from armcarry.rehearsal import judge, rehearse
from armcarry.scene.build import build_scene
from armcarry.timeline.carry import run_carries

Tell = Callable[[str, float], None]
SESSION, LOG, SCRIPT, RUN = "session.jsonl", "flown.csv", "flown.yaml", "run"


def course_of(path: Path, tell: Tell | None = None) -> Course:
    """Plan a scenario's carries, or take them from a run folder, which saves the planning.

    Raises:
        InputError: the scenario is not valid or has no carry.
        RecordError: the run folder is damaged.
    """
    if path.is_dir():
        return Course(load(path)[0])
    scene = build_scene(settle(path))
    if not scene.loaded.scenario.carries:
        raise InputError("there is nothing to fly by hand", file=path, accepted="a scenario with a carry")
    run = run_carries(scene, tell)
    return Course(Record(scene, run.phases, run.motion, run.moves, run.events, run.relaxed, run.shortfalls))


class Cockpit:
    """A flight that is written to its session file as it is flown.

    Attributes:
        flight, hands, writer: what is flown, by what, and where it is written.
        folder: where session, log, script and run of this try go.
    """

    def __init__(self, course: Course, folder: Path, seed: int | None = None) -> None:
        """Begin a try.

        Args:
            course: the script.
            folder: a new folder for this try.
            seed: for faults at random times; None for none unasked.

        Raises:
            RecordError: there is a session in the folder already, or it cannot be written.
        """
        scene = course.record.scene
        self.course, self.folder = course, folder
        self.flight = Flight(scene, course)
        self.hands = Hands(len(scene.arm_joints))
        self.writer = Writer(folder / SESSION, scene, seed or 0)
        self.chance = Chance(seed)

    def tick(self, command: Command | None = None) -> None:
        """Let a tick pass, with the command of the hands or another."""
        pilot = self.flight.pilot
        fault = self.chance.due(pilot)
        if fault is not None:
            self.fail(fault)
        asked = self.hands.command(pilot) if command is None else command
        self.writer.step(pilot, asked)
        self.flight.step(asked)

    @property
    def reactions(self) -> tuple[tuple[str, float | None], ...]:
        """Kind of each practised fault and the seconds to its answer; None while there was none."""
        return self.flight.reactions

    def look(self) -> None:
        """Note that another view was chosen."""
        self.writer.view(self.flight.pilot)
        self.flight.look()

    def act(self) -> str:
        """Do the script's next act; return why not, or nothing."""
        pilot = self.flight.pilot
        said = self.flight.act()
        if not said:
            self.writer.act(pilot)
        return said

    def fail(self, fault: Fault | str) -> Fault:
        """Let a fault, or one of a kind, begin now."""
        pilot = self.flight.pilot
        made = self.chance.draw(pilot, fault) if isinstance(fault, str) else fault
        self.writer.fault(pilot, made)
        self.flight.fail(made)
        return made

    def close(self) -> None:
        """End the session file."""
        self.writer.close(self.flight.pilot)


def keep(flight: Flight, folder: Path, tell: Tell | None = None) -> Path:
    """Write a flight as a motion log, a script to edit and a run folder with every check; return the run folder.

    Raises:
        RecordError: something cannot be written, or is there already.
    """
    log, target = folder / LOG, folder / RUN
    write_bytes_atomic(log, log_bytes(flight))
    write_script(flight, flight.scene, folder / SCRIPT)
    record = rehearse(flight.scene.loaded.path, tell, motion=read_motion_log(log), pieces="cubic")
    save(record, judge(record), target)
    return target


def flown(path: Path, course: Course) -> Flight:
    """Fly a session again, from its file or its folder.

    Raises:
        InputError: it is no session of this course.
    """
    return replay(read_session(path / SESSION if path.is_dir() else path), course.record.scene, course)


def scores(paths: list[Path], course: Course) -> dict[str, Score]:
    """Score several tries, by name; arguments and errors as ``flown``."""
    return {_name(path): score(flown(path, course)) for path in paths}


def table(found: dict[str, Score]) -> list[list[str]]:
    """Return tries side by side: headings, then a row a try."""
    return [list(HEADINGS), *(each.row(name) for name, each in found.items())]


def _name(path: Path) -> str:
    return path.name if path.is_dir() else path.parent.name if path.name == SESSION else path.stem


def next_folder(base: Path) -> Path:
    """Return the first of try_1, try_2, ... that is not there. Raises RecordError when there are too many."""
    for number in range(1, 10_000):
        if not (base / f"try_{number}").exists():
            return base / f"try_{number}"
    raise RecordError(f"{base} holds too many tries; choose another folder with --out")
