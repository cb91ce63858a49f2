"""What every test shares: pictures are drawn off screen, also where there is no display."""

import os
import sys

os.environ.setdefault("MPLBACKEND", "Agg")
if sys.platform == "linux" and not os.environ.get("DISPLAY"):
    # without it VTK first tries an X server and warns
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
