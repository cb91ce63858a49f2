"""The readings beside the view, as text that Qt lays out; no Qt here."""

from __future__ import annotations

from html import escape

import numpy as np

from armcarry.handfly.alarm import Alarm, margin_class
from armcarry.handfly.calls import call, ways_off
from armcarry.handfly.cockpit import Cockpit
from armcarry.handfly.keys import Keys
from armcarry.handfly.live import Readings
from armcarry.quantities import clock
from armcarry.scene.words import plain, plain_joint
from armcarry.views import palette
from armcarry.views.player import look

COLOUR = {"short": look.FAIL_TEXT, "tight": look.OPEN_TEXT, "near": palette.YELLOW, "free": look.PASS_TEXT}
LEVEL = (look.PASS_TEXT, palette.YELLOW, look.OPEN_TEXT, look.FAIL_TEXT)
_MODES = {"tip": "tip", "joint": "single joint", "script": "follow the script"}


def state_words(cockpit: Cockpit) -> str:
    """Return time, mode, frame and speed in one line."""
    hands, pilot = cockpit.hands, cockpit.flight.pilot
    joint = plain_joint(pilot.scene.arm_joints[hands.joint])
    what = {"tip": f"axes of the {hands.frame}", "joint": joint, "script": "hold forward to go on"}[hands.mode]
    brake = " · BRAKE" if pilot.asked is not None else ""
    return f"{clock(pilot.time_s)} · {_MODES[hands.mode]}, {what} · {'fine' if hands.fine else 'coarse'}{brake}"


def readings_html(cockpit: Cockpit, readings: Readings, alarm: Alarm) -> str:
    """Return all readings as HTML."""
    pilot = cockpit.flight.pilot
    leg = pilot.course.legs[pilot.leg]
    off_m, off_rad = pilot.off_goal()
    when = "" if not np.isfinite(alarm.in_s) else f" in {alarm.in_s:.1f} s" if alarm.in_s > 0 else " now"
    parts = [
        _heading("Next limit"), f'<span style="color:{LEVEL[alarm.level]};font-size:17px;font-weight:600">'
        f"{escape(alarm.words)}{when}</span>",
        _heading("Rider"), f'<span style="font-size:16px">&ldquo;{escape(call(pilot))}&rdquo;</span>',
        _heading("Step"), escape(leg.span.say or leg.span.title),
        f"{off_m:.3f} m and {np.degrees(off_rad):.2f} deg to go",
        _heading("Closest"), _closest(readings), _heading("If stopped now"), _run_out(cockpit, readings),
        _heading("Joints, to the end of travel"), _joints(cockpit, readings),
        _heading("What now"), "<br>".join(escape(words) for words in ways_off(pilot, readings)),
    ]  # fmt: skip
    if cockpit.reactions:
        told = (f"{escape(kind)}: {'not yet' if s is None else f'{s:.2f} s'}" for kind, s in cockpit.reactions[-3:])
        parts += [_heading("Time to react"), "<br>".join(told)]
    return "".join(f"<div>{part}</div>" for part in parts)


def _heading(text: str) -> str:
    return f'<p style="color:{palette.FAINT_LIGHT};margin:7px 0 1px 0;font-size:12px">{text}</p>'


def _closest(readings: Readings) -> str:
    if not readings.pairs:
        return "nothing is near"
    rows = "".join(
        f"<tr><td>{escape(plain(pair.body_a))}<br>{escape(plain(pair.body_b))}</td>"
        f'<td align="right">&nbsp;{pair.distance_m:.3f} m<br>of {pair.required_m:.2f}</td>'
        f'<td align="right" style="color:{COLOUR[margin_class(pair.margin_m)]}">&nbsp;{pair.margin_m:+.3f}<br>'
        f"{margin_class(pair.margin_m)}</td></tr>"
        for pair in readings.pairs[:3]
    )
    return f'<table cellspacing="2">{rows}</table>'


def _run_out(cockpit: Cockpit, readings: Readings) -> str:
    if cockpit.flight.pilot.resting:
        return "the arm stands still"
    left = readings.run_out_left_m
    colour = look.FAIL_TEXT if left < 0 else look.PASS_TEXT
    words = "nothing near" if left >= 1.0 else f"{left:+.2f} m beyond what must be left"
    return (f"{readings.run_out_m:.2f} m in {readings.run_out_s:.1f} s; "
            f'<span style="color:{colour}">{words}</span>')  # fmt: skip


def _joints(cockpit: Cockpit, readings: Readings) -> str:
    pilot = cockpit.flight.pilot
    margin = pilot.scene.loaded.rules.margins.joint_position
    cells = []
    for name, left, turns in zip(pilot.scene.arm_joints, readings.joint_left, pilot.chain.revolute, strict=True):
        short = turns and left < margin
        value = f"{np.degrees(left):.0f} deg" if turns else f"{left:.2f} m"
        colour = look.FAIL_TEXT if short else palette.LIGHT
        cells.append(f'{escape(plain_joint(name))} <span style="color:{colour}">{value}</span>')
    least = pilot.scene.loaded.rules.margins.smallest_singular_value
    colour = look.FAIL_TEXT if readings.singular < least else palette.LIGHT
    cells.append(f'freedom left <span style="color:{colour}">{readings.singular:.2f} of {least:.2f}</span>')
    return " · ".join(cells)


def keys_html(keys: Keys) -> str:
    """Return the list of keys as HTML."""
    rows = "".join(f"<tr><td><b>{escape(key)}</b>&nbsp;&nbsp;</td><td>{escape(words)}</td></tr>"
                   for key, words in keys.shown())  # fmt: skip
    return f"<table>{rows}</table>"
