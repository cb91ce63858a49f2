"""Does the tip stay inside its speed for the load it moves?"""

from __future__ import annotations

from armcarry.files.documents.arm import LoadName
from armcarry.motion.chain import Chain
from armcarry.motion.speed import tip_speed_maximum
from armcarry.record.figures import at_most, rate_share
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import MoveSpan, Record
from armcarry.scene.tree import WORLD

#: width of the proven band of the largest speed
BAND_M_S = 1e-4
_make = Maker("tip_speed")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a load class: the largest tip speed over its moves, bounded from above at every instant."""
    worst: dict[tuple[LoadName, bool], tuple[float, float, float, float, MoveSpan]] = {}
    scene = record.scene
    for move in record.moves:
        if move.end_s <= move.start_s:
            continue
        tree = record.phase_at((move.start_s + move.end_s) / 2).tree
        allowed = scene.tip_speed_limit(tree, scene.loaded.arm.document.loads[move.load])
        rider = bool(scene.aboard(tree))
        part = record.motion.between(move.start_s, move.end_s)
        held = record.motion.at(move.start_s)
        chain = Chain.of(tree, WORLD, scene.tool(tree), joints=scene.arm_joints, held=held)
        _, upper, when = tip_speed_maximum(chain, part, tolerance_m_s=BAND_M_S)
        key = (move.load, rider)
        if key not in worst or upper / allowed > worst[key][0]:
            worst[key] = (upper / allowed, upper, allowed, when, move)
    return tuple(_finding(load, rider, entry) for (load, rider), entry in worst.items())


def _finding(load: str, rider: bool, entry: tuple[float, float, float, float, MoveSpan]) -> Finding:
    _, upper, allowed, when, move = entry
    speed = at_most(upper, allowed, "m/s", slack=BAND_M_S)
    who = " with a rider aboard" if rider else ""
    return _make.judged(
        speed,
        "arm",
        f"with load '{load}'{who} the tip moves at {speed.said} at most (to {BAND_M_S * 1e3:g} mm/s, at every "
        f"instant), in {move.title}; {speed.asked} is allowed",
        other=load,
        at=when,
        remedy="" if speed.kept else f"slow {move.title} to {rate_share(allowed / upper)} of its rate",
    )
