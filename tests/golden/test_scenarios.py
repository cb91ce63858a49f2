"""Every shipped scenario gives exactly the verdicts it says it gives."""

from pathlib import Path

import pytest

from armcarry.record.expected import differences
from armcarry.rehearsal import judge, rehearse

SCENARIOS = sorted((Path(__file__).resolve().parents[2] / "scenarios").glob("*.yaml"))


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_a_scenario_gives_the_verdicts_it_states(path):
    record = rehearse(path)
    findings = judge(record)
    assert record.scene.loaded.scenario.expect, "a shipped scenario states what it shows"
    assert differences(record.scene.loaded.scenario.expect, findings) == ()


def test_scenarios_are_shipped():
    assert len(SCENARIOS) >= 3
