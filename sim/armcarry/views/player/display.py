"""Find out whether a window with 3-D can be opened here, before anything that would end the program tries to.

Qt aborts where there is no display or a library of its is missing, VTK where OpenGL is; so a child process
tries first, while the run is still being read.
"""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys

from armcarry.errors import ArmcarryError, MissingExtraError
from armcarry.views import gl

#: what must import, and what to call it
_NEEDED = (("PySide6", "PySide6"), ("pyvistaqt", "pyvistaqt"), ("pyqtgraph", "pyqtgraph"))
_PURPOSE = "the player window"
_TRIAL = """
import os
from PySide6 import QtWidgets
app = QtWidgets.QApplication([])
print("window", flush=True)
import pyvista
picture = pyvista.Plotter(off_screen=True, window_size=[32, 32])
picture.render()
print("drawn", flush=True)
from pyvistaqt import QtInteractor
view = QtInteractor(auto_update=False)
view.resize(32, 32)
view.show()
app.processEvents()
view.render_window.Render()
print("live", view.render_window.ReportCapabilities(), flush=True)
os._exit(0)
"""
#: renderers that are programs and not graphics cards
_SOFTWARE = ("llvmpipe", "softpipe", "swrast", "swiftshader", "software", "basic render", "gdi generic")
NO_DISPLAY = (
    "the player needs a display and there is none: DISPLAY and WAYLAND_DISPLAY are not set. On a machine without a "
    "screen use the web page that 'armcarry brief' writes, or type: xvfb-run armcarry play ..."
)
NO_WINDOW = (
    "the player window does not open here: Qt does not start. Either DISPLAY names no running X server, or a library "
    "is missing; on Debian or Ubuntu type: apt-get install libxcb-cursor0 libxcb-icccm4 libxcb-keysyms1 libxcb-image0 "
    "libxcb-render-util0 libxkbcommon-x11-0 libdbus-1-3 fontconfig fonts-dejavu-core"
)
NO_OPENGL = (
    "the player window opens but nothing can be drawn in 3-D: OpenGL is missing or does not start. On Debian or Ubuntu "
    "type: apt-get install libgl1 libgl1-mesa-dri"
)


def need_libraries() -> None:
    """Raise MissingExtraError when a library of the window is not installed."""
    for module, library in _NEEDED:
        if importlib.util.find_spec(module) is None:
            raise MissingExtraError(library, "view", _PURPOSE)


def prepare() -> None:
    """Set what Qt and VTK read from the environment; call before either is imported.

    Raises:
        ArmcarryError: there is no display.
    """
    os.environ["QT_API"] = "pyside6"
    os.environ["PYQTGRAPH_QT_LIB"] = "PySide6"
    gl.prepare()
    shown = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")  # the last for platforms that need neither
    if sys.platform.startswith("linux") and not any(os.environ.get(name) for name in shown):
        raise ArmcarryError(NO_DISPLAY)


class Trial:
    """A child process that opens a window and draws; started at once, asked later."""

    def __init__(self) -> None:
        self._child = subprocess.Popen(  # noqa: S603 - our own interpreter and text
            [sys.executable, "-c", _TRIAL], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )

    def result(self, patience_s: float = 60.0) -> bool:
        """Wait for the trial and tell whether a graphics card draws into windows here.

        Raises:
            ArmcarryError: it failed; the message says what to install.
        """
        try:
            said, _ = self._child.communicate(timeout=patience_s)
        except subprocess.TimeoutExpired:
            self._child.kill()
            said, _ = self._child.communicate()
        if "drawn" not in said:
            raise ArmcarryError(NO_OPENGL if "window" in said else NO_WINDOW)
        _, live, about = said.partition("live")
        return bool(live) and not any(name in about.lower() for name in _SOFTWARE)

    def stop(self) -> None:
        """End the trial without asking for its result."""
        self._child.kill()
        self._child.communicate()
