"""The long run: everything that feeds the readers, with so many inputs that they are 100,000 together."""

import os
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

FEEDERS = (
    "test_readers.py", "test_drawn_yaml.py", "test_drawn_urdf.py", "test_drawn_meshes.py", "test_drawn_calls.py",
    "test_guided.py",
)  # fmt: skip


@pytest.mark.long
def test_a_hundred_thousand_inputs(tmp_path, capsys):
    here = Path(__file__).parent
    # as many processes as there are cores, or as PYTEST_XDIST_AUTO_NUM_WORKERS says
    command = [sys.executable, "-m", "pytest", "-n", "auto", "-m", "long or not long", "-o", "junit_family=xunit1"]
    count = os.environ.get("ARMCARRY_FUZZ", "2000")
    command += [f"--junit-xml={tmp_path / 'report.xml'}", *(str(here / feeder) for feeder in FEEDERS)]
    environment = {**os.environ, "ARMCARRY_FUZZ": count}
    done = subprocess.run(command, cwd=here.parents[1], capture_output=True, text=True, env=environment)
    assert done.returncode == 0, done.stdout[-6000:]
    total = 0
    with capsys.disabled():
        print()
        for case in ElementTree.parse(tmp_path / "report.xml").iter("testcase"):  # noqa: S314  # written by pytest just now
            given = [prop.get("value") for prop in case.iter("property") if prop.get("name") == "inputs"]
            for inputs in map(int, given):
                total += inputs
                seconds = float(case.get("time"))
                print(f"{case.get('name'):56} {inputs:7,} inputs {seconds:7.0f} s {inputs / seconds:7.1f} a second")
        print(f"{'all':56} {total:7,} inputs")
    assert total >= 100_000
