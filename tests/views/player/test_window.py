"""Runs driven/window.py in a child process under its own virtual display; a crash of Qt or VTK fails one test here."""

import os
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

DRIVEN = Path(__file__).parent / "driven" / "window.py"

pytestmark = [
    pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the virtual display is an X server"),
    pytest.mark.skipif(shutil.which("Xvfb") is None, reason="Xvfb is not installed; on Debian: apt-get install xvfb"),
]


@pytest.mark.parametrize(
    ("form", "chosen", "least"),
    [
        pytest.param("pictures", "", 30, marks=pytest.mark.long),
        ("live", "screen or space or mouse or eyes or pictures_and", 5),
    ],
)
def test_the_window_under_keys_and_clicks(display, tmp_path, form, chosen, least):
    for library in ("PySide6", "pyvistaqt", "pyqtgraph"):
        pytest.importorskip(library, reason=f"{library} of the extra 'view' is not installed")
    report = tmp_path / "report.xml"
    env = {name: value for name, value in os.environ.items()
           if name not in ("WAYLAND_DISPLAY", "QT_QPA_PLATFORM") and not name.startswith("PYTEST_")}
    if form == "live":
        env["PLAYER_LIVE"] = "1"
    done = subprocess.run(
        [sys.executable, "-m", "pytest", str(DRIVEN), "-p", "no:xdist", f"--junitxml={report}", "--tb=short",
         "-k", chosen],
        env={**env, "DISPLAY": display}, capture_output=True, text=True, timeout=400,
    )
    assert report.is_file(), f"the child ended with {done.returncode}:\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    cases = list(ElementTree.parse(report).getroot().iter("testcase"))  # noqa: S314 - our own child wrote it
    failed = [case.get("name") for case in cases if case.find("failure") is not None or case.find("error") is not None]
    assert done.returncode == 0 and not failed, f"{failed}\n{done.stdout[-6000:]}"
    assert len(cases) >= least


_PLAY = """
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
stay = QApplication.exec

def tell_and_close():
    # in one call: two coarse timers 100 ms apart may fire in either order
    print([w.windowTitle() for w in QApplication.topLevelWidgets() if w.isVisible()])
    QApplication.closeAllWindows()

def for_a_while(*_):
    QTimer.singleShot(1500, tell_and_close)
    return stay()

QApplication.exec = for_a_while
from armcarry.cli import main
main()
"""


def test_the_command_rehearses_a_script_and_opens_its_window(display):
    from armcarry.files.places import data_folder

    pytest.importorskip("PySide6", reason="PySide6 of the extra 'view' is not installed")
    script = Path(data_folder()) / "scenarios" / "unreachable_worksite.yaml"
    done = subprocess.run(
        [sys.executable, "-c", _PLAY, "play", str(script)], env={**os.environ, "DISPLAY": display},
        capture_output=True, text=True, timeout=200,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert "The top of the mast from too far along the track – armcarry" in done.stdout
