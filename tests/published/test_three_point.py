"""Three-point estimates against published examples (minutes and days stand for seconds here)."""

from __future__ import annotations

import pytest

from armcarry.timeline.estimate import path_estimate
from armcarry.timeline.task import Duration, Task


def network(rows):
    return [Task(name, (name,), Duration(*map(float, points)), after=tuple(after)) for name, points, after in rows]


# Inputs: PM Knowledge Center, "PERT: the project evaluation and review technique", Table 1.
# The page's own answers were not seen; those below follow from the inputs in closed form.
KNOWLEDGE_CENTER = [
    ("A", (2, 5, 8), ""), ("B", (1, 2, 9), "A"), ("C", (0.25, 0.5, 3.75), "A"), ("D", (1, 1, 7), "B"),
    ("E", (1, 2, 9), "BC"), ("F", (1, 3, 11), "DE"),
]


def test_knowledge_center_table():
    tasks = network(KNOWLEDGE_CENTER)
    assert [t.duration.mean_s for t in tasks] == pytest.approx([5, 3, 1, 2, 3, 4])
    variances = [1, 16 / 9, 0.340278, 1, 16 / 9, 25 / 9]
    assert [t.duration.variance_s2 for t in tasks] == pytest.approx(variances, abs=1e-6)
    estimate, means = path_estimate(tasks)
    assert estimate.path == ("A", "B", "E", "F")
    assert estimate.mean_s == pytest.approx(15.0)
    assert means.slot("C").total_slack_s == pytest.approx(2.0)
    assert means.slot("D").total_slack_s == pytest.approx(1.0)
    assert estimate.variance_s2 == pytest.approx(7.3333, abs=5e-5)
    assert estimate.deviation_s == pytest.approx(2.70801, abs=5e-6)
    assert estimate.chance_by(17.0) == pytest.approx(0.76991, abs=5e-6)
    assert estimate.percentile(0.95) == pytest.approx(19.454, abs=5e-4)


def test_chain_of_four():
    # schematex PERT example page: te 3.17, 8.5, 4.17, 2; project 17.83, sigma 1.69 (sigmas .5, 1.5, .5, .33).
    # Only te and sigma are printed; three points that have them: most - least = 6 sigma, symmetric enough.
    te, sigma = (3.17, 8.5, 4.17, 2.0), (0.5, 1.5, 0.5, 1 / 3)
    points = [(t - 3 * s, t, t + 3 * s) for t, s in zip(te, sigma, strict=True)]
    rows = [(f"s{k}", three, [f"s{k - 1}"] if k else []) for k, three in enumerate(points)]
    estimate, _ = path_estimate(network(rows))
    assert estimate.mean_s == pytest.approx(17.83, abs=0.011)  # the page rounds each te
    assert estimate.deviation_s == pytest.approx(1.69, abs=0.005)


def test_seven_activities():
    # The seven-activity example of the encyclopedia article on PERT (value from memory; recomputed).
    rows = [
        ("A", (2, 4, 6), ""), ("B", (3, 5, 9), ""), ("C", (4, 5, 7), "A"), ("D", (4, 6, 10), "A"),
        ("E", (4, 5, 7), "BC"), ("F", (3, 4, 8), "D"), ("G", (3, 5, 8), "E"),
    ]
    tasks = network(rows)
    expected = [4, 5.33, 5.17, 6.33, 5.17, 4.5, 5.17]
    assert [t.duration.mean_s for t in tasks] == pytest.approx(expected, abs=5e-3)
    estimate, _ = path_estimate(tasks)
    assert estimate.path == ("A", "C", "E", "G")
    assert estimate.mean_s == pytest.approx(19.5)  # printed 19.51, a sum of rounded means
