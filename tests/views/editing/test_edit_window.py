"""Runs driven/window.py in a child process, off screen: keys, mouse and menus change a short carry."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

DRIVEN = Path(__file__).parent / "driven" / "window.py"


def test_keys_mouse_and_menus_change_a_carry():
    for library in ("PySide6", "pyvistaqt"):
        pytest.importorskip(library, reason=f"{library} of the extra 'view' is not installed")
    env = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", str(DRIVEN), "-p", "no:xdist", "--tb=short", "-q"],
        env={**env, "QT_QPA_PLATFORM": "offscreen"}, capture_output=True, text=True, timeout=580,
    )
    assert done.returncode == 0, f"{done.stdout[-6000:]}\n{done.stderr[-3000:]}"
