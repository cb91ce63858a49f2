"""The foot restraint and the hardware that is carried: pump box, survey camera, rail cart, blanket, small things."""

from __future__ import annotations

import numpy as np
from writer import Array, Robot, at, axes

#: pump box: handhold in its base frame; base x points out of the seat, z up
BOX_GRIP = axes((0.58, 0.0, 0.0), (-1, 0, 0), (0, 0, 1))
#: survey camera: base x points up out of its seat, it is held from +y
CAMERA_GRIP = axes((0.42, 0.34, 0.0), (0, -1, 0), (1, 0, 0))
#: rail cart: base x points up off the track, it is held from above by a rider whose head points to starboard
CART_GRIP = axes((0.62, 0.0, 0.0), (-1, 0, 0), (0, -1, 0))
BLANKET_GRIP = axes((0.14, 0.0, 0.0), (-1, 0, 0), (0, 0, 1))


def restraint() -> Robot:
    """Return the foot restraint: x of ``mount`` out of the arm; with all settings at zero boots stand on its end."""
    foot = Robot("foot_restraint", "mount", 6.0)
    foot.cylinder("mount", "foot_flange", 0.14, (0, 0, 0), (0.06, 0, 0), "grip")
    foot.cylinder("mount", "foot_stem", 0.05, (0.06, 0, 0), (0.34, 0, 0), "longeron")
    foot.turning("foot_roll", "knuckle", "mount", at(0.34, 0, 0), (1, 0, 0), (-90, 90), 10.0, 3.0)
    foot.cylinder("knuckle", "foot_knuckle", 0.075, (0.06, -0.09, 0), (0.06, 0.09, 0), "knuckle")
    # the plate's x is against the mount's z, its z along the mount's x; pitching up to 90 deg brings the arm behind
    # the rider's heels, along the way the rider faces
    foot.turning("foot_pitch", "tilt", "knuckle", at(0.06, 0, 0, pitch=90.0), (0, -1, 0), (-30, 120), 10.0, 3.0)
    foot.cylinder("tilt", "foot_post", 0.045, (0, 0, 0.06), (0, 0, 0.16), "longeron")
    foot.turning("foot_yaw", "turntable", "tilt", at(0, 0, 0.16), (0, 0, 1), (-180, 180), 10.0, 8.0)
    foot.box("turntable", "foot_plate", (0.44, 0.46, 0.04), at(0.03, 0, 0.02), "trolley")
    foot.box("turntable", "foot_toe_bar", (0.05, 0.44, 0.03), at(0.17, 0, 0.225), "handrail")
    for side, y in (("left", 0.225), ("right", -0.225)):
        foot.box("turntable", f"foot_toe_post_{side}", (0.05, 0.02, 0.20), at(0.17, y, 0.14), "handrail")
    foot.fixed("plate", "turntable", at(0, 0, 0.04))
    return foot


def pump_box() -> Robot:
    """Return the pump box: case, handhold under a cover that folds back over the top, connector, four bolts."""
    box = Robot("pump_box", "base", 118.0)
    box.box("base", "case", (0.46, 0.72, 0.56), at(0.25, 0, 0), "box")
    box.box("base", "foot_plate", (0.02, 0.62, 0.46), at(0.01, 0, 0), "seat")
    for side, y in (("left", -0.24), ("right", 0.24)):
        box.cylinder("base", f"handhold_stub_{side}", 0.018, (0.47, y, 0), (0.58, y, 0), "handrail")
    box.capsule("base", "handhold_bar", 0.02, (0.58, -0.24, 0), (0.58, 0.24, 0), "handrail")
    box.fixed("handhold", "base", BOX_GRIP)
    corners = (("a", 1, 1), ("b", -1, 1), ("c", -1, -1), ("d", 1, -1))
    for name, sy, sz in corners:
        box.cylinder("base", f"bolt_{name}", 0.025, (0.48, sy * 0.31, sz * 0.22), (0.51, sy * 0.31, sz * 0.22), "seat")
    box.cylinder("base", "connector", 0.05, (0.25, -0.36, -0.12), (0.25, -0.45, -0.12), "seat")
    box.turning("cover_fold", "cover", "base", at(0.5, 0, 0.3), (0, -1, 0), (0, 185), 30.0, 2.0)
    box.box("cover", "cover_lip", (0.20, 0.6, 0.015), at(0.10, 0, 0), "box_cover")
    box.box("cover", "cover_flap", (0.015, 0.6, 0.33), at(0.20, 0, -0.165), "box_cover")
    return box


def survey_camera() -> Robot:
    """Return the survey camera: a post that turns in pan, a head that tilts, lock bolts, a handhold at its side."""
    camera = Robot("survey_camera", "base", 14.0)
    camera.cylinder("base", "camera_foot", 0.20, (0, 0, 0), (0.05, 0, 0), "seat")
    camera.cylinder("base", "camera_post", 0.08, (0.05, 0, 0), (0.44, 0, 0), "longeron")
    for name, z in (("bow", -0.03), ("stern", 0.03)):
        camera.cylinder("base", f"camera_handhold_{name}", 0.015, (0.36, 0.06, z), (0.42, 0.34, 6 * z), "handrail")
    camera.capsule("base", "camera_handhold_bar", 0.02, (0.42, 0.34, -0.24), (0.42, 0.34, 0.24), "handrail")
    camera.fixed("handhold", "base", CAMERA_GRIP)
    camera.turning("pan", "neck", "base", at(0.47, 0, 0), (1, 0, 0), (-170, 170), 20.0, 6.0)
    camera.cylinder("neck", "camera_neck", 0.12, (0, 0, 0), (0.08, 0, 0), "knuckle")
    for side, y in (("left", 0.19), ("right", -0.19)):
        camera.box("neck", f"camera_fork_{side}", (0.26, 0.03, 0.14), at(0.16, y, 0), "knuckle")
    camera.box("neck", "camera_fork_base", (0.03, 0.41, 0.14), at(0.07, 0, 0), "knuckle")
    camera.turning("tilt", "head", "neck", at(0.24, 0, 0), (0, 1, 0), (-80, 80), 20.0, 9.0)
    camera.box("head", "camera_body", (0.20, 0.30, 0.26), at(0, 0, 0.02), "camera")
    camera.cylinder("head", "camera_lens", 0.08, (0, 0, -0.11), (0, 0, -0.26), "lens")
    # it looks along -z of the base at zero: to the bow when the seat looks up
    camera.fixed("survey_eye", "head", axes((0, 0, -0.27), (0, 0, -1), (1, 0, 0)))
    return camera


def rail_cart() -> Robot:
    """Return the rail cart: a bed that sits on the track, four clamp legs, a handhold on top."""
    cart = Robot("rail_cart", "base", 160.0)
    cart.box("base", "cart_bed", (0.16, 1.2, 1.25), at(0.14, 0, 0), "cart")
    for end, z in (("bow", -0.45), ("stern", 0.45)):
        for side, y in (("port", 0.45), ("star", -0.45)):
            cart.box("base", f"cart_clamp_{end}_{side}", (0.06, 0.22, 0.2), at(0.03, y, z), "knuckle")
    for end, z in (("bow", -0.3), ("stern", 0.3)):
        cart.cylinder("base", f"cart_stub_{end}", 0.018, (0.2, 0, z), (0.62, 0, z), "handrail")
    cart.capsule("base", "cart_handhold_bar", 0.02, (0.62, 0, -0.3), (0.62, 0, 0.3), "handrail")
    cart.fixed("handhold", "base", CART_GRIP)
    cart.fixed("socket", "base", axes((0.22, 0.4, 0.0), (1, 0, 0), (0, 0, 1)))
    return cart


def blanket() -> Robot:
    """Return a rolled thermal blanket in its strap, held by the strap's handle."""
    roll = Robot("thermal_blanket", "base", 9.0)
    roll.capsule("base", "blanket_roll", 0.12, (0, -0.45, 0), (0, 0.45, 0), "blanket")
    roll.box("base", "blanket_strap", (0.255, 0.06, 0.255), at(), "seat")
    roll.fixed("handhold", "base", BLANKET_GRIP)
    roll.capsule("base", "blanket_handle", 0.018, (0.14, -0.18, 0), (0.14, 0.18, 0), "handrail")
    return roll


def without_shape(name: str, mass_kg: float) -> Robot:
    """Return a small thing by name alone: a mass and a grip at it, and no body."""
    thing = Robot(name, "base", mass_kg)
    thing.fixed("grip", "base", at())
    return thing


def grip(hardware: str) -> Array:
    """Return T_base_handhold of a piece of hardware."""
    grips = {
        "pump_box": BOX_GRIP, "survey_camera": CAMERA_GRIP, "rail_cart": CART_GRIP, "thermal_blanket": BLANKET_GRIP,
    }
    return np.array(grips[hardware])
