"""Runs driven/window.py in a child process under its own virtual display: keys fly the demo carry."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

DRIVEN = Path(__file__).parent / "driven" / "window.py"

pytestmark = [
    pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the virtual display is an X server"),
    pytest.mark.skipif(shutil.which("Xvfb") is None, reason="Xvfb is not installed; on Debian: apt-get install xvfb"),
]


def driven(display, **more):
    for library in ("PySide6", "pyvistaqt", "pyqtgraph"):
        pytest.importorskip(library, reason=f"{library} of the extra 'view' is not installed")
    env = {name: value for name, value in os.environ.items()
           if name not in ("WAYLAND_DISPLAY", "QT_QPA_PLATFORM") and not name.startswith("PYTEST_")}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", str(DRIVEN), "-p", "no:xdist", "--tb=short", "-s"],
        env={**env, "DISPLAY": display, **more}, capture_output=True, text=True, timeout=580,
    )
    assert done.returncode == 0, f"{done.stdout[-6000:]}\n{done.stderr[-3000:]}"
    return done.stdout


@pytest.mark.long
def test_keys_take_the_box_out_of_its_rack_and_every_button_works(display):
    assert "passed" in driven(display)


@pytest.mark.bench
def test_keys_fly_the_whole_carry(display, capsys):
    """The whole demo carry, which takes a minute and more; the part of it above runs every time."""
    said = driven(display, HAND_ALL="1")
    assert "passed" in said
    with capsys.disabled():
        print("\n" + said[:2500])
