"""What faults leave where the arm stands is what the run's own runaways leave while it stands there."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.scene.limits import brake_decelerations, runaway_rates
from armcarry.whatif.at_rest import ENOUGH_M, TOLERANCE_M, AtRest, excursions, fastest
from armcarry.whatif.runaway_joint import BAND_M, runaways


def _granted(record, time_s):
    return [replace(one, start_s=-np.inf, end_s=np.inf) for one in record.relaxed if one.start_s <= time_s <= one.end_s]


def _of_run(record, time_s):
    """Return the least margin that faults begun around an instant leave."""
    parts = [part.leaves for part in runaways(record).parts]
    rows = [(one.start_s <= time_s) & (one.end_s >= time_s) for one in parts]
    return min(float(one.lower_m[then].min(initial=np.inf)) for one, then in zip(parts, rows, strict=True))


def test_what_a_runaway_leaves_where_the_arm_stands_is_what_it_leaves_in_a_run(short_run):
    record, _ = short_run
    compared = []
    for move in record.moves:
        time_s = (move.start_s + move.end_s) / 2
        if move.kind != "hold":
            continue
        tree, granted, places = record.phase_at(time_s).tree, _granted(record, time_s), record.motion.at(time_s)[None]
        left, words = AtRest(record.scene, tree, granted).least(places)
        of_run = min(_of_run(record, time_s), ENOUGH_M)
        assert left == pytest.approx(of_run, abs=BAND_M + TOLERANCE_M)
        compared.append((left, words))
        if left < ENOUGH_M:  # and more may be asked for
            more, _ = AtRest(record.scene, tree, granted, more_m=0.03).least(places)
            assert more == pytest.approx(left - 0.03, abs=TOLERANCE_M)
            things = [name.split("/")[0] for name in words.split("running away: ")[1].split(" and ")]
            of = [tree.bodies_of((thing,)) for thing in things]
            alone, _ = AtRest(record.scene, tree, granted, among=(of[0], of[1])).least(places)
            assert alone == pytest.approx(left, abs=TOLERANCE_M)
            nobody = AtRest(record.scene, tree, granted, among=(of[0], tree.bodies_of(("nobody",))))
            assert nobody.least(places) == (ENOUGH_M, "")
    assert len(compared) >= 2 and min(left for left, _ in compared) < ENOUGH_M
    assert all((" running away: " in words) == (left < ENOUGH_M) for left, words in compared)
    assert all(words == "" for left, words in compared if left == ENOUGH_M)


def test_near_structure_a_joint_runs_away_at_the_rate_for_there(rider_scene):
    arm = rider_scene({}).loaded.arm.document
    load = arm.loads["rider"].model_copy(update={"runaway_near": 0.5, "near_structure": 0.4})
    there, away = fastest(arm, load, np.array([True, False]))
    np.testing.assert_array_equal(there, runaway_rates(arm, load, True))
    np.testing.assert_array_equal(away, runaway_rates(arm, load, False))
    assert np.all(there < away)
    late_s, brakes = arm.detection_time, brake_decelerations(arm, load)
    assert excursions(arm, load, np.array([False])) == pytest.approx((away * late_s + away**2 / (2 * brakes))[None])
    assert excursions(arm, load, np.array([True]), 1.5) == pytest.approx((there * 1.5 + there**2 / (2 * brakes))[None])
