"""Find out whether this machine can draw in 3-D before anything tries to.

VTK ends the whole program where OpenGL libraries are missing, though it imports; so a child process tries first.
"""

from __future__ import annotations

import os
import subprocess
import sys
from functools import lru_cache

_TRIAL = """
import vtkmodules.vtkRenderingOpenGL2
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow
window = vtkRenderWindow()
window.SetOffScreenRendering(1)
window.SetSize(16, 16)
window.AddRenderer(vtkRenderer())
window.Render()
print("drawn")
print(window.ReportCapabilities())
"""
_WINDOW = "VTK_DEFAULT_OPENGL_WINDOW"
HINT = (
    "no 3-D picture can be drawn here: OpenGL is missing or does not start. On Debian or Ubuntu type: "
    "apt-get install libegl1 libgl1-mesa-dri"
)


def prepare() -> None:
    """Make VTK draw without a display where there is none; call before it is imported."""
    if sys.platform == "linux" and not os.environ.get("DISPLAY"):
        os.environ.setdefault(_WINDOW, "vtkEGLRenderWindow")


def problem() -> str | None:
    """Return None when pictures can be drawn, else what to tell the user. Tried once a process, about 0.5 s."""
    return None if _trial() is not None else HINT


def renderer() -> str:
    """Return the name of what draws here, such as a graphics card or a program that takes its place; may be empty."""
    lines = (_trial() or "").splitlines()
    return next((line.partition(":")[2].strip() for line in lines if line.startswith("OpenGL renderer string")), "")


@lru_cache(maxsize=1)
def _trial() -> str | None:
    """Return what a child process said that drew, None when none could."""
    prepare()
    try:
        trial = subprocess.run(  # noqa: S603 - our own interpreter and text
            [sys.executable, "-c", _TRIAL], capture_output=True, text=True, timeout=60, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return trial.stdout if trial.returncode == 0 and "drawn" in trial.stdout else None
