"""The clearance rows of a whole run: no pair forgotten, no bound beaten by coal at any instant, windows kept apart."""

import re
from pathlib import Path

import numpy as np
import pytest

from armcarry.asked.pairs import judged_pairs
from armcarry.asked.relaxed import Relaxed
from armcarry.clearance import distances
from armcarry.files.names import matches
from armcarry.motion.forward import forward
from armcarry.proving import curves as room
from armcarry.proving.proof import prove_run
from armcarry.record.record import Record
from armcarry.record.tables import PAIR_COLUMNS, write_pairs
from armcarry.timeline.run import Run

PAGE = Path(__file__).resolve().parents[2] / "shared" / "reference" / "run_folder.md"
SAMPLES = 120


@pytest.fixture(scope="module")
def least_of_pair(short_run):
    least = {}
    for row in short_run[0].pairs:
        key = frozenset((row.body_a, row.body_b))
        least[key] = min(least.get(key, np.inf), row.lower_m)
    return least


def phase_times(phase):
    """Return instants of a phase, both ends of it included."""
    return np.linspace(phase.start_s, phase.end_s, SAMPLES)


def names_of(tree, pair):
    return frozenset(tree.bodies[k].name for k in pair)


def _fits(patterns, one, other):
    return matches(f"arm/{patterns[0]}", one) and matches(f"arm/{patterns[1]}", other)


def test_no_pair_that_moves_is_forgotten(short_run, least_of_pair):
    record, _ = short_run
    crew_and_load = {*record.scene.loaded.crew, *record.scene.loaded.hardware}
    ignored = record.scene.loaded.arm.document.ignore_pairs
    forgotten, settled = [], 0
    for phase in record.phases:
        tree = phase.tree
        links = sorted({body.link for body in tree.bodies})
        world = forward(tree, record.motion.at(phase_times(phase)), links)
        inverse = np.linalg.inv(world)
        moves = np.zeros((len(links), len(links)), dtype=bool)
        for k in range(len(links)):
            relative = inverse[:, k : k + 1] @ world
            moves[k] = np.abs(relative - relative[:1]).max(axis=(0, 2, 3)) > 1e-9
        row_of = {link: k for k, link in enumerate(links)}
        for i, one in enumerate(tree.bodies):
            for other in tree.bodies[i + 1 :]:
                if not moves[row_of[one.link], row_of[other.link]]:
                    continue
                if frozenset((one.name, other.name)) in least_of_pair:
                    continue
                owners = one.name.split("/")[0], other.name.split("/")[0]
                if owners[0] == owners[1]:
                    if owners[0] in crew_and_load:
                        continue
                    parents = [tree.links[up] if (up := tree.parents[tree.index(body.link)]) >= 0 else ""
                               for body in (one, other)]
                    if parents[0] == other.link or parents[1] == one.link:
                        gaps = distances(
                            [one.shape, other.shape],
                            world[:, [row_of[one.link], row_of[other.link]]] @ np.stack([one.pose, other.pose]),
                            np.array([[0, 1]]),
                        )  # fmt: skip
                        assert len(set(gaps.upper_m[:, 0] > 0.0)) == 1, (one.name, other.name)
                        settled += 1
                        continue
                if any(_fits(pair, one.name, other.name) or _fits(pair, other.name, one.name) for pair in ignored):
                    continue
                forgotten.append((one.name, other.name))
    assert forgotten == [] and settled >= 69  # of the arm's 74 pairs of neighbours
    assert len(least_of_pair) > 20_000


def test_coal_finds_nothing_nearer_than_proven_at_any_instant(short_run, least_of_pair, pinocchio_engine):
    record, _ = short_run
    rng = np.random.default_rng(1)
    nearest = {frozenset((r.body_a, r.body_b)) for r in record.pairs if r.status in ("proven", "contact")}
    seen = 0
    for phase in record.phases:
        rows = {body.name: k for k, body in enumerate(phase.tree.bodies)}
        near = [key for key in nearest if least_of_pair[key] < 1.5]
        far = list(rng.permutation(sorted(map(sorted, set(least_of_pair) - nearest))))[:200]
        asked = [tuple(sorted(rows[name] for name in key)) for key in [*near, *far]]
        judged = _judged(record, phase)
        asked = [pair for pair in asked if pair in judged]
        engine = pinocchio_engine(phase.tree, asked)
        least = np.full(len(asked), np.inf)
        times = phase_times(phase)
        for q in record.motion.at(times):
            least = np.minimum(least, engine.distances(q))
        q = record.motion.at(phase.end_s, side="left")
        least = np.minimum(least, engine.distances(q))
        for pair, found in zip(asked, least, strict=True):
            lower = least_of_pair[names_of(phase.tree, pair)]
            assert lower <= found + 1e-6, names_of(phase.tree, pair)
            seen += 1
    assert seen > 300


def _judged(record, phase):
    """Return the pairs that have rows in a phase; at other times they may be rigidly together."""
    pairs, _ = judged_pairs(record.scene, phase.tree, record.motion.between(phase.start_s, phase.end_s))
    return set(map(tuple, pairs.tolist()))


def relaxed_rows(record: Record, relaxed):
    run = Run(record.phases, record.motion, record.moves, record.events, relaxed, ())
    return prove_run(record.scene, run)[0]


def test_a_relaxed_pair_keeps_its_rule_outside_the_window(short_run):
    record, _ = short_run
    granted = Relaxed("ev1/forearm_right", "pump_box/case", 0.005, 100.0, 200.0, "the hand comes close")
    before = {(r.body_a, r.body_b): r for r in record.pairs}
    rows = relaxed_rows(record, (granted,))
    by_why = {row.why: row for row in rows if {row.body_a, row.body_b} == {granted.pattern_a, granted.pattern_b}}
    assert set(by_why) == {"rule", "the hand comes close"}
    inside, outside = by_why["the hand comes close"], by_why["rule"]
    assert (inside.required_m, inside.start_s, inside.end_s) == (0.005, 100.0, 200.0)
    whole = before[inside.body_a, inside.body_b]
    assert outside.required_m == whole.required_m == 0.02
    # both together give what was proven without the relaxation, and only one of them holds the least
    assert min(inside.lower_m, outside.lower_m) == pytest.approx(whole.lower_m, abs=1e-3)
    assert 100.0 <= inside.time_s <= 200.0
    assert not 100.0 < outside.time_s < 200.0
    others = [r for r in rows if r.why not in ("rule", "one joint between") and r.status != "intended"]
    assert others == [inside]


def test_a_relaxation_that_asks_for_more_than_the_rule_changes_nothing(short_run):
    record, _ = short_run
    stricter = Relaxed("ev1/forearm_right", "pump_box/case", 0.5, 100.0, 200.0, "stay away")
    asked = {(r.required_m, r.why) for r in relaxed_rows(record, (stricter,))
             if {r.body_a, r.body_b} == {"ev1/forearm_right", "pump_box/case"}}
    assert asked == {(0.02, "rule")}


def test_bodies_that_are_meant_to_touch_are_told_apart_from_those_that_are_not(short_run):
    record, _ = short_run
    for row in record.pairs:
        if row.status == "intended":
            assert row.required_m is None
        else:
            assert row.lower_m <= row.upper_m
            assert row.status != "proven" or row.upper_m - row.lower_m <= 1e-3
            report = record.scene.loaded.rules.report_distance
            assert row.status != "farther" or row.lower_m >= report


def test_curves_hold_the_rows(short_run):
    record, _ = short_run
    for curve in record.curves:
        classes = curve.group.split(",")[0].split(" to ")
        rows = [r for r in record.pairs if sorted((r.class_a, r.class_b)) == sorted(classes)
                and r.status == "proven" and r.why != "one joint between"]  # fmt: skip
        if not rows:
            continue
        assert np.all(curve.lower_m <= curve.upper_m + 1e-9)
        # the least of the curve and of the rows are one truth, each known to its own band
        assert curve.lower_m.min() <= min(r.upper_m for r in rows) + 1e-6
        assert curve.upper_m.min() >= min(r.lower_m for r in rows) - 1e-6


def test_no_cell_of_a_curve_lies_under_what_the_rows_prove(short_run, monkeypatch):
    record, _ = short_run
    monkeypatch.setattr(room, "BAND_M", 0.5)  # so rough that the bound of a cell alone would lie far under
    rows, curves = prove_run(record.scene, Run(record.phases, record.motion, record.moves, record.events, (), ()))
    assert curves
    for curve in curves:
        least = min(row.lower_m for row in rows if sorted((row.class_a, row.class_b)) == curve.group.split(" to "))
        assert curve.lower_m.min() >= least - 1e-12, curve.group
        assert np.all(curve.lower_m <= curve.upper_m + 1e-9)


def test_no_cell_of_a_long_run_is_too_long_to_read(short_run, monkeypatch):
    record, _ = short_run
    monkeypatch.setattr(room, "CELLS", 8)
    _, curves = prove_run(record.scene, Run(record.phases, record.motion, record.moves, record.events, (), ()))
    times = np.unique(np.concatenate([curve.times_s for curve in curves]))
    assert np.diff(times).max() < 1.3 * room.CELL_S


def test_the_table_of_pairs_explains_its_columns_in_the_file_and_in_the_reference(short_run, tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    write_pairs(short_run[0].pairs[:5], tmp_path / "pairs.parquet")
    schema = parquet.read_schema(tmp_path / "pairs.parquet")
    told = {field.name: (field.metadata or {}).get(b"description", b"").decode() for field in schema}
    assert told == PAIR_COLUMNS
    section = PAGE.read_text().split("\n## The table of clearances\n")[1].split("\n## ")[0]
    listed = dict(re.findall(r"^\| `(\w+)` \| (.+) \|$", section, re.MULTILINE))
    assert listed == {name: words for name, words in told.items() if not name.startswith("point_")}
    assert "`point_a_x_m` to `point_b_z_m`" in section
