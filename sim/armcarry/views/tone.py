"""How light becomes brightness: one curve for all pictures, so that white things in full sun keep their form.

Light is plain up to a knee; above it brightness nears white ever slower and never gets there. The brightest of red,
green and blue says how much a point is taken back, all three alike, so that nothing changes its hue. VTK draws every
surface through the curve; ``gain`` takes what was drawn back to light, so that two pictures can be added as light.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

#: light up to here is shown as it is; full sun on white gives about 1.3
KNEE = 0.5
#: how much more light there was than each of the 256 brightnesses of a picture tells; the last stands for all above it
_SHOWN = np.maximum(np.minimum(np.arange(256), 254.5) / 255, 1e-9)
_GAIN = np.where(_SHOWN < KNEE, 1.0, (KNEE - (1 - KNEE) * np.log1p(-(_SHOWN - KNEE) / (1 - KNEE))) / _SHOWN)
#: what VTK writes for the highlight of a light into the program of a surface; where it writes something else, it stays
_HIGHLIGHT = (
    "sf = sign(df)*pow(max(1e-5, dot( reflect(lightDirectionVC{}, normalVCVSOutput), normalize(-vertexVC.xyz))), "
    "specularPower);"
)
_MOST_LIGHTS = 5


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def gain(red: int, green: int, blue: int) -> float:
    """Return the light of a point of a picture, of its colour from 0 to 255 a channel."""
    return float(_GAIN[max(red, green, blue)])


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def share(light: float) -> float:
    """Return the share of its light with which a point is shown, whose brightest channel has so much."""
    return 1.0 if light < KNEE else (1 - (1 - KNEE) * np.exp(-(light - KNEE) / (1 - KNEE))) / light


def through_curve(actor: Any) -> None:
    """Have VTK draw a lit surface through the curve."""
    place, light = "//VTK::Light::Impl", "max(max(fragOutput0.r, fragOutput0.g), fragOutput0.b)"
    curve = (
        f"float light = {light};\n"
        f"  if (light > {KNEE}) fragOutput0.rgb *= (1.0 - {1 - KNEE} * exp(-(light - {KNEE}) / {1 - KNEE})) / light;"
    )
    shader = actor.GetShaderProperty()
    shader.AddFragmentShaderReplacement(place, True, f"{place}\n  {curve}\n", False)
    # the first light alone, which is the strongest, makes highlights: those of the fills are not seen, and where no
    # graphics card draws they are a fifth of what a picture costs
    for number in range(1, _MOST_LIGHTS):
        shader.AddFragmentShaderReplacement(_HIGHLIGHT.format(number), False, "sf = 0.0;", True)
