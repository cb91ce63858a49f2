"""Plain runs of the arm of ``rider_scene``."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.motion.curve import Motion
from armcarry.record import maker
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import MoveSpan, Record
from armcarry.timeline.run import Phase


@pytest.fixture(autouse=True)
def whole_findings(monkeypatch):
    """Hold every finding that a check makes here to what every finding must have."""

    def held(*words, **more):
        made = Finding(*words, **more)
        if not isinstance(made.verdict, Verdict):  # made wrong on purpose
            return made
        texts = (made.check, made.subject, made.message, made.other, made.unit, made.remedy)
        assert all(isinstance(text, str) for text in texts), made
        assert made.subject and made.message, made
        assert made.start_s <= made.end_s, made
        assert made.unit == made.unit.lower(), made
        assert (made.remedy == "") is (made.verdict is Verdict.PASS), made
        assert not {"nan", "inf"} & set(made.message.split()), made
        return made

    monkeypatch.setattr(maker, "Finding", held)


@pytest.fixture
def at_site(rider_scene):
    """Build a scene whose stand is where the plate is at the start; points given in the plate's frame."""

    def build(points, stand_shift=None, **options):
        scene = rider_scene({})
        plate = scene.tree.pose_of("restraint/plate", scene.position)
        points = {name: plate @ poses.translation(xyz) for name, xyz in points.items()}
        stand = plate if stand_shift is None else plate @ stand_shift
        return rider_scene(points, stand=stand, **options)

    return build


@pytest.fixture
def site_move():
    """Build a move of the carry ``there`` from its number, kind, start and end."""

    def build(number, kind, start_s, end_s):
        return MoveSpan("there", number, "", kind, start_s, end_s, "rider", words=f"{kind} words")

    return build


@pytest.fixture
def stopped(site_move):
    """Build a record that stands at the site from the start; the trunk leans from 20 to 25 s."""
    arrive = (
        site_move(1, "to_worksite", 0.0, 10.0), site_move(2, "hold", 10.0, 20.0), site_move(3, "posture", 20.0, 25.0)
    )

    def build(scene, moves=arrive, lean_rad=0.0):
        table = np.zeros((2, 2, len(scene.position)))
        table[:, 0] = scene.position
        table[1, 1, scene.tree.column("ev1/hips")] = lean_rad / 5
        motion = Motion(scene.tree.joints, np.array([0.0, 20.0, 25.0]), table)
        return Record(scene, (Phase(0.0, 25.0, scene.tree),), motion, moves)

    return build
