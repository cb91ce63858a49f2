"""After any changes the answer is what a fresh rehearsal of the script gives, to the tolerance of the proof."""


import numpy as np
import pytest

from armcarry.editing import Session
from armcarry.errors import ArmcarryError
from fresh import same_as_fresh
from long_carry import long_carry


def changed_at_random(session, draw):
    """Make one change of a kind, move and size drawn; one that cannot be is refused and makes none."""
    at = session.moves[draw.integers(len(session.moves))]
    kind = draw.choice([
        "shift", "turn", "rate", "hold", "split", "remove", "undo", "redo", "joints", "station", "stow",
    ])  # fmt: skip
    try:
        match kind:
            case "shift":
                session.shift(at, draw.normal(0, 0.08, 3))
            case "turn":
                session.turn(at, draw.normal(0, 0.05, 3))
            case "rate":
                session.option(at, "rate", float(draw.choice([0.4, 0.7, 1.0])))
            case "hold":
                session.add(at, {"hold": "7 s"})
            case "split":
                session.split(at)
            case "remove" if session.kind(at) in ("hold", "line") and len(session.moves) > 8:
                session.remove(at)
            case "undo":
                session.undo()
            case "redo":
                session.redo()
            case "joints":
                name = str(draw.choice(["wrist_turn", "elbow_bend", "shoulder_swing"]))
                session.set_joints(at, {name: session.joints(session.end_s(at))[name] + draw.normal(0, 0.03)})
            case "station":
                session.station(11.0 + draw.normal(0, 0.05))
            case "stow":
                session.appendage("radiator_port", str(draw.choice(["stowed", "deployed"])))
    except ArmcarryError:
        pass


@pytest.mark.long
def test_after_random_changes_the_answer_is_that_of_a_fresh_rehearsal(tmp_path):
    path = tmp_path / "carry.yaml"
    path.write_text(long_carry(), encoding="utf-8")
    session, draw = Session(path, at_once=1), np.random.default_rng(5)
    for _ in range(12):
        changed_at_random(session, draw)
    session.wait()
    assert session.script.changes
    same_as_fresh(session, tmp_path / "fresh.yaml")


@pytest.mark.long
def test_after_two_hundred_random_changes(tmp_path):
    path = tmp_path / "carry.yaml"
    path.write_text(long_carry(), encoding="utf-8")
    session, draw = Session(path), np.random.default_rng(7)
    for count in range(1, 201):
        changed_at_random(session, draw)
        if count % 20 == 0:
            same_as_fresh(session, tmp_path / "fresh.yaml")
    assert len(session.script.changes) > 50
