"""After any changes the answer is what a fresh rehearsal of the script gives, to the tolerance of the proof."""


import numpy as np
import pytest

from armcarry.editing import Session
from armcarry.errors import ArmcarryError
from armcarry.proving.pieces import LOOK_M
from armcarry.rehearsal import rehearse
from long_carry import long_carry

#: two proofs of one distance, each between bounds this far apart, m
TOLERANCE_M = 1e-3


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


def same_as_fresh(session, path):
    """Hold the answer of a session to a fresh rehearsal of its script."""
    path.write_text(session.script.written(), encoding="utf-8")
    fresh, mine = rehearse(path), session.answer.record
    assert [(m.carry, m.number, m.name, m.kind) for m in mine.moves] == [
        (m.carry, m.number, m.name, m.kind) for m in fresh.moves
    ]
    assert mine.duration_s == pytest.approx(fresh.duration_s, abs=1e-6)
    times = np.linspace(0.0, fresh.duration_s, 400)
    np.testing.assert_allclose(mine.motion.at(times), fresh.motion.at(times), rtol=0, atol=1e-7)
    assert [short.title for short in mine.shortfalls] == [short.title for short in fresh.shortfalls]
    key = lambda row: (row.body_a, row.body_b, row.required_m, row.why)  # noqa: E731
    told, known = {}, {}
    for row in mine.pairs:
        told[key(row)] = min(row.lower_m, told.get(key(row), np.inf))
    for row in fresh.pairs:
        if row.required_m is not None or row.status == "contact":
            known[key(row)] = min(row.lower_m, known.get(key(row), np.inf))
    assert told.keys() <= known.keys()
    for pair, lower in known.items():
        if pair in told:
            assert told[pair] == pytest.approx(lower, abs=TOLERANCE_M), pair
        else:
            assert lower > (pair[2] or 0.0) + LOOK_M - TOLERANCE_M, f"{pair} comes near and was not looked at"


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
