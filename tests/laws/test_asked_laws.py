"""What is asked of a pair is one answer: whoever asks, at any instant, gets what a plain reading of the files gives."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from armcarry.asked.requirement import TOUCH_M, Requirement
from armcarry.asked.zones import granted as granted_by_places
from armcarry.clearance.distance import distances
from armcarry.dispersion.problem import make_problem
from armcarry.files.names import matches
from armcarry.handfly.cockpit import course_of
from armcarry.handfly.control import Pilot
from armcarry.handfly.live import Watch
from armcarry.motion.braking import braking
from armcarry.motion.forward import forward
from armcarry.planning.space import ArmSpace
from armcarry.proving.proof import prove_run
from armcarry.record.record import Record
from armcarry.timeline.run import Run
from armcarry.whatif.branches import least_left_m
from armcarry.whatif.faults import sides, windows

CARRY = Path(__file__).parents[2] / "scenarios" / "pump_box_to_bay_7.yaml"
#: what a script may grant beside what places do: smaller gaps for some moves; a wider pattern that overlaps in time,
#: less for some pairs and more for others, through two moves; more than the rule asks; a gap smaller than the rest
#: that a stop must leave
HANDS = """          - {bodies: [ev1/glove_*, platform/rack_a_seat_*], required: 0.3 m, why: gloves reach out}
          - {bodies: [ev1/forearm_*, platform/rack_a_seat_*], required: 0.5 m, why: forearms follow the gloves}
"""
GRANTED = """        relax:
          - {bodies: [ev1/*, platform/rack_a_seat_*], required: 0.45 m, why: all of the rider, through: unbolt}
          - {bodies: [arm/*, "platform/*"], required: 2 m, why: more than the rule}
          - {bodies: [platform/keel_*, ev1/glove_left], required: 0.05 m, why: one glove by the keel}
"""
LEAVES = """          - {bodies: [pump_box/*, platform/rack_a_seat_*], required: 0 m, why: the box leaves its seat}
          - {bodies: [pump_box/*, platform/keel_bay_11_*], required: 0.2 m, why: the keel stands behind the seat}
"""
#: line of the demo carry -> what is granted from there
WHERE = {
    "        line: {frame: platform/rack_a_stand, to: [-5 mm, 0 m, 0 m]}\n": GRANTED + HANDS,
    "        hold: 330 s\n": "        relax:\n" + HANDS,
    "        line: {frame: platform/rack_a_stand, to: [-0.9 m, 0 m, 0 m]}\n": "        relax:\n" + HANDS + LEAVES,
}
#: why no distance is asked, and no curve drawn
APART = ("it sits in its seat", "one joint between")
#: hardware that nobody touches
SPARE = "  spare: {model: thermal_blanket, at: platform/rack_b_seat}"


#: how the box is taken, move by move, so that each may grant what it likes
TAKEN = """      - name: close_in
        line: {frame: platform/rack_a_stand, to: [-5 mm, 0 m, 0 m]}
      - name: unbolt
        hold: 330 s
      - {attach: {what: pump_box, to: ev1/hands, seat: true}, name: take}
      - name: pull_out
        rate: 0.5
        line: {frame: platform/rack_a_stand, to: [-0.9 m, 0 m, 0 m]}
"""


@pytest.fixture(scope="module")
def course(tmp_path_factory):
    head = CARRY.read_text(encoding="utf-8").split("      - {name: take", 1)[0] + TAKEN
    for line, relax in WHERE.items():
        assert line in head
        head = head.replace(line, line + relax, 1)
    head = head.replace("\n  rail_cart_1:", f"\n{SPARE}\n  rail_cart_1:")
    path = tmp_path_factory.mktemp("asked") / "overlapping.yaml"
    path.write_text(head, encoding="utf-8")
    return course_of(path)


@pytest.fixture(scope="module")
def record(course):
    plain = course.record
    places = granted_by_places(plain.scene, [(p.tree, p.start_s, p.end_s) for p in plain.phases], plain.motion)
    run = Run(plain.phases, plain.motion, plain.moves, plain.events, (*plain.relaxed, *places), ())
    pairs, curves = prove_run(plain.scene, run)
    return Record(plain.scene, run.phases, run.motion, run.moves, run.events, run.relaxed, (), pairs, curves)


class Plainly:
    """What the files say of two bodies of a tree, name by name."""

    def __init__(self, scene, tree):
        self.scene, self.tree = scene, tree
        self.names = [body.name for body in tree.bodies]
        self.classes = scene.body_classes(tree)

    def asked(self, pair, granted):
        """Return what is required (None without a rule), whether contact is meant, and what a fault leaves."""
        a, b = (self.names[k] for k in pair)
        required = self._ruled(*pair)
        if required is not None and (self._sits(a, b) or self._sits(b, a) or self._joined(*pair)):
            required = 0.0
        if required is not None:
            fitting = [item for item in granted if self._fit(item.pattern_a, item.pattern_b, a, b)]
            required = min([required, *(item.required_m for item in fitting)])
        meant = self._declared(a, b) or (required == 0.0 and (self._seats(a, b) or self._seats(b, a)))
        remainder = self.scene.loaded.rules.stop_remainder
        remainder = 0.0 if self._joined(*pair) else remainder
        return required, meant, max(TOUCH_M, remainder if required is None else min(remainder, required))

    def _ruled(self, a, b):
        for rule in self.scene.loaded.rules.required:
            if sorted(rule.between) == sorted((self.classes[a], self.classes[b])):
                return rule.distance
        return None

    def _joined(self, a, b):
        """Tell whether a joint joins the links of two bodies."""
        one, other = (self.tree.bodies[k] for k in (a, b))
        thing = one.name.split("/")[0]
        if other.name.split("/")[0] != thing or thing in {
            *self.scene.loaded.crew, *self.scene.loaded.hardware, *self.scene.loaded.restraints
        }:
            return False
        ends = {one.link.split("/")[1], other.link.split("/")[1]}
        return any({joint.parent, joint.child} == ends for joint in self.tree.mounting(thing).model.movable())

    @staticmethod
    def _fit(one, other, a, b):
        return (matches(one, a) and matches(other, b)) or (matches(one, b) and matches(other, a))

    def _declared(self, a, b):
        loaded = self.scene.loaded
        held = [(f"{name}/*", f"{who}/{part}") for name, item in loaded.hardware.items() for who in loaded.crew
                for part in item.document.touches]
        return any(self._fit(*both, a, b) for both in [*(c.bodies for c in loaded.rules.intended_contact), *held])

    def _sits(self, a, b):
        owner = a.split("/")[0]
        if owner not in self.scene.loaded.hardware or not b.startswith("platform/"):
            return False
        seats = self.scene.loaded.platform.document.seats.values()
        return self.tree.mounting(owner).parent in [f"platform/{seat.frame}" for seat in seats]

    def _seats(self, a, b):
        owner = a.split("/")[0]
        if owner not in self.scene.loaded.hardware:
            return False
        kinds = {owner, self.scene.loaded.scenario.hardware[owner].model, self.scene.loaded.hardware[owner].path.stem}
        return any(b == f"platform/{part}" for seat in self.scene.loaded.platform.document.seats.values()
                   if kinds & set(seat.accepts) for part in seat.touches)


def instants(record):
    """Return the phase and the relaxations at instants inside every stretch between two changes of anything."""
    cuts = {t for item in record.relaxed for t in (item.start_s, item.end_s)}
    cuts |= {t for phase in record.phases for t in (phase.start_s, phase.end_s)}
    edges = sorted(cuts)
    for start, end in pairwise(edges):
        time = start + 0.37 * (end - start)
        yield time, record.phase_at(time), [item for item in record.relaxed if item.start_s < time < item.end_s]


def as_array(plain, pairs, granted):
    """Return what a plain reading requires (P,), nan: nothing or meant to touch; and what a fault leaves (P,)."""
    told = [plain.asked(pair, granted) for pair in pairs.tolist()]
    required = [np.nan if meant or value is None else value for value, meant, _ in told]
    return np.array(required), np.array([np.nan if meant else left for _, meant, left in told])


def test_the_scene_has_what_makes_the_answer_hard(record):
    kinds = {row.why for row in record.pairs}
    assert {"one joint between", "rule", "intended contact", "all of the rider", "one glove by the keel",
            "gloves reach out", "the box leaves its seat"} <= kinds
    assert "more than the rule" not in kinds
    assert any(row.status == "intended" and row.why == "the box leaves its seat" for row in record.pairs)


def test_pairs_that_nobody_moves_are_asked_alike(record):
    for time, phase, granted in instants(record):
        plain = Plainly(record.scene, phase.tree)
        loose = [k for k, name in enumerate(plain.names) if not name.startswith("platform/")]
        pairs = np.array([(a, b) for a in loose for b in range(0, len(plain.names), 5) if a != b])
        asked = Requirement(record.scene, phase.tree, pairs, record.relaxed).at(time)
        required, left = as_array(plain, pairs, granted)
        np.testing.assert_array_equal(asked.required_m, required)
        np.testing.assert_array_equal(asked.left_m, left)
        assert "it sits in its seat" in asked.why


def test_where_no_rule_covers_two_nothing_is_relaxed_and_a_fault_leaves_the_remainder(record):
    loaded = record.scene.loaded
    ruleless = replace(record.scene, loaded=replace(loaded, rules=loaded.rules.model_copy(update={"required": []})))
    for time, phase, granted in instants(record):
        plain = Plainly(ruleless, phase.tree)
        pairs = np.array([(a, b) for a in range(0, 60, 2) for b in range(61, len(plain.names), 7)])
        asked = Requirement(ruleless, phase.tree, pairs, record.relaxed).at(time)
        assert np.isnan(asked.required_m).all()
        assert set(asked.why.tolist()) <= {"no rule", "intended contact"}
        np.testing.assert_array_equal(asked.left_m, as_array(plain, pairs, granted)[1])
        assert set(asked.kept_m[~asked.meant].tolist()) == {0.0}


def test_every_row_says_what_is_asked_at_its_every_instant(record):
    plains = {id(phase): Plainly(record.scene, phase.tree) for phase in record.phases}
    by_time = list(instants(record))
    for row in record.pairs[:: max(1, len(record.pairs) // 4000)] + tuple(r for r in record.pairs if r.why != "rule"):
        inside = [each for each in by_time if row.start_s < each[0] < row.end_s]
        assert inside
        for _, phase, granted in inside:
            plain = plains[id(phase)]
            pair = (plain.names.index(row.body_a), plain.names.index(row.body_b))
            assert (row.class_a, row.class_b) == (plain.classes[pair[0]], plain.classes[pair[1]])
            required, meant, _ = plain.asked(pair, granted)
            assert (row.status == "intended") == meant
            assert row.required_m == (None if meant else required)


def test_a_curve_is_drawn_of_every_requirement_while_it_holds(record):
    for time, phase, granted in instants(record):
        plain = Plainly(record.scene, phase.tree)
        expected = set()
        for row in record.pairs:
            if row.start_s < time < row.end_s and row.required_m is not None and row.why not in APART:
                relaxed = "" if row.why == "rule" else f", relaxed to {row.required_m:g} m"
                expected.add((" to ".join(sorted((row.class_a, row.class_b))) + relaxed, row.required_m))
        drawn = {
            (curve.group, curve.required_m) for curve in record.curves
            if curve.times_s[0] < time < curve.times_s[-1]
            and np.isfinite(curve.upper_m[np.searchsorted(curve.times_s, time) - 1])
        }
        named = {group for group, _ in expected}
        assert drawn <= expected
        assert {group for group, _ in drawn} | {g for g in named if _far(record, g, time)} == named
        assert plain.names and granted is not None


def _far(record, group, time):
    """Tell whether the curve of a group is there at an instant, but all of it farther than is reported."""
    curve = next(each for each in record.curves if each.group == group)
    cell = np.searchsorted(curve.times_s, time) - 1
    return curve.lower_m[cell] >= record.scene.loaded.rules.report_distance


def test_faults_leave_what_is_asked(record):
    seen = set()
    for time, phase, granted in instants(record):
        side = next(side for side in sides(record) if side.phase is phase)
        window = next(each for each in windows(side) if each.start_s < time < each.end_s)
        required, left = as_array(Plainly(record.scene, phase.tree), side.pairs, granted)
        np.testing.assert_array_equal(window.left_m, left)
        np.testing.assert_array_equal(window.asked.required_m, required)
        seen |= set(left[~np.isnan(left)].tolist())
    assert seen == {TOUCH_M, 0.02, 0.05, 0.08, 0.1}


def test_other_branches_keep_what_is_asked(record):
    for time, phase, granted in instants(record):
        side = next(side for side in sides(record) if side.phase is phase)
        required, _ = as_array(Plainly(record.scene, phase.tree), side.pairs, granted)
        q = record.motion.at(time)
        far = least_left_m(record, time, q[None])[0]
        assert far == pytest.approx(np.nanmin(gaps(phase.tree, q, side.pairs)[0] - required), abs=1e-4)


def gaps(tree, q, pairs):
    """Return distances (N, P) at joint vectors (N, n)."""
    bodies = tree.bodies
    placed = forward(tree, np.atleast_2d(q), [body.link for body in bodies]) @ np.stack([body.pose for body in bodies])
    return distances([body.shape for body in bodies], placed, pairs).lower_m


def test_a_campaign_asks_the_same_with_windows_as_much_longer_as_the_arm_may_be_late(record):
    problem = make_problem(record)
    late = 3.0  # 1 s, cut at three deviations
    seen = set()
    for window in problem.windows:
        tree = problem.trees[window.phase]
        plain, time = Plainly(record.scene, tree), (window.start_s + window.end_s) / 2
        granted = [item for item in record.relaxed if item.start_s - late < time < item.end_s + late]
        required, _ = as_array(plain, window.pairs, granted)
        np.testing.assert_array_equal(window.required_m, required)
        seen |= set(required.tolist())
    assert {0.05, 0.3, 0.45, 0.6} <= seen


def test_a_route_is_asked_what_the_rules_ask(record):
    scene, phase = record.scene, record.phases[-1]
    space = ArmSpace(scene, phase.tree, record.motion.at(phase.start_s))
    required, _ = as_array(Plainly(scene, phase.tree), space.pairs, [])
    np.testing.assert_array_equal(space.asked_m, required)


@pytest.fixture(scope="module")
def flown(course, record):
    """The arm in hand on every leg of the course that lasts, where the script has it in the middle of it."""
    pilots = []
    for leg, each in enumerate(course.legs):
        if each.span.end_s > each.span.start_s:
            time = (each.span.start_s + each.span.end_s) / 2
            pilot = Pilot(record.scene, course)
            pilot.tree, pilot.position, pilot.leg = record.phase_at(time).tree, record.motion.at(time), leg
            pilot._load()
            pilots.append((time, pilot))
    return pilots


def test_whoever_flies_by_hand_is_told_the_same(record, flown):
    watch, found = Watch(record.scene), set()
    for time, pilot in flown:
        around = watch.around(pilot)
        granted = [item for item in record.relaxed if item.start_s < time < item.end_s]
        required, left = as_array(Plainly(record.scene, pilot.tree), around.pairs, granted)
        asked = around.asked(pilot)
        np.testing.assert_array_equal(asked.required_m, required)
        np.testing.assert_array_equal(asked.left_m, left)
        found |= set(left[~np.isnan(left)].tolist())
    assert found == {TOUCH_M, 0.02, 0.05, 0.08, 0.1}


def test_a_stop_ahead_is_measured_against_what_a_fault_must_leave(record, flown):
    told = []
    for time, pilot in flown:
        pilot.rate = np.full(len(pilot.columns), 1e-3)
        watch = Watch(record.scene)
        read = watch.read(pilot)
        granted = [item for item in record.relaxed if item.start_s < time < item.end_s]
        around = watch.around(pilot)
        _, left = as_array(Plainly(record.scene, pilot.tree), around.pairs, granted)
        reaction = record.scene.loaded.arm.document.reaction_time
        arc = braking(pilot.rate[None], pilot.brakes)
        ways = [pilot.q + pilot.rate * s for s in np.linspace(0.0, reaction, 9)]
        ways.append(ways[-1] + pilot.rate**2 / (2 * pilot.brakes))
        q = np.repeat(pilot.position[None], len(ways), axis=0)
        q[:, pilot.columns] = ways
        least = np.nanmin(gaps(pilot.tree, q, around.pairs) - left)
        assert arc.rest_s[0] >= 0.0
        assert read.run_out_left_m <= min(least, 1.0) + 1e-4
        assert read.run_out_left_m >= min(least, 1.0) - 0.025
        told.append(read.run_out_left_m)
    assert min(told) < 0.2


def test_of_relaxations_at_once_the_smallest_counts_and_says_why(record):
    phase = record.phases[0]
    names = [body.name for body in phase.tree.bodies]
    glove, arm = names.index("ev1/glove_left"), names.index("ev1/forearm_left")
    seat = next(k for k, name in enumerate(names) if name.startswith("platform/rack_a_seat_"))
    asked = Requirement(record.scene, phase.tree, np.array([[glove, seat], [arm, seat]]), record.relaxed)
    unbolt = next(move for move in record.moves if move.name == "unbolt")
    window = asked.at((unbolt.start_s + unbolt.end_s) / 2)
    assert window.required_m.tolist() == [0.3, 0.45]
    assert window.why.tolist() == ["gloves reach out", "all of the rider"]
    assert [record.relaxed[k].required_m for k in window.granted] == [0.3, 0.45]
    # before it begins only the place grants anything
    before = asked.at(record.moves[0].start_s)
    assert before.required_m.tolist() == [0.35, 0.45]
    assert before.why.tolist() == ["gloves work the bolts, rack_a", "forearms follow the gloves, rack_a"]
