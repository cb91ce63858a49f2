import numpy as np
import pytest

from armcarry.clearance.distance import distance
from armcarry.views.measuring import measurable, measured


def test_two_bodies_are_as_far_apart_as_the_proof_says(small_run):
    record, _ = small_run
    row = record.tightest
    found = measured(record, row.body_a, row.body_b, row.time_s)
    assert found.bodies == (row.body_a, row.body_b)
    assert row.lower_m - 1e-3 <= found.lower_m <= found.upper_m <= row.upper_m + 1e-3
    assert np.linalg.norm(found.point_a - found.point_b) == pytest.approx(found.upper_m, abs=1e-6)
    assert found.words.startswith("0.233 m to 0.234 m: pump box case") or "0.233" in found.words


def test_two_things_are_measured_between_their_nearest_bodies(small_run):
    record, _ = small_run
    found = measured(record, "ev1", "pump_box", 300.0)
    place = record.body_poses(300.0)[0]
    rows = {body.name: k for k, body in enumerate(record.bodies)}
    mine = [
        distance(record.bodies[k].shape, place[k], record.bodies[rows["pump_box/case"]].shape,
                 place[rows["pump_box/case"]]).lower_m
        for name, k in rows.items() if name.startswith("ev1/")
    ]
    assert found.lower_m == min(mine)
    assert found.bodies[0].startswith("ev1/") and found.bodies[1] == "pump_box/case"


def test_contact_is_said_and_nothing_is_measured_against_itself(small_run):
    record, _ = small_run
    assert measured(record, "ev1/torso", "ev1/pack", 0.0).words == "contact: ev1 torso – ev1 pack"
    assert measured(record, "ev1", "ev1", 0.0) is None
    assert measured(record, "ev1", "nobody", 0.0) is None
    names = measurable(record)
    assert names[: names.index(record.bodies[0].name)] == tuple(
        dict.fromkeys(body.name.split("/")[0] for body in record.bodies)
    )
