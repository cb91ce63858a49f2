"""Does every joint stay inside its rate and acceleration for the load it moves?"""

from __future__ import annotations

from armcarry.record.figures import at_most, near, rate_share
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import MoveSpan, Record
from armcarry.scene.limits import joint_accelerations, joint_rates

_make = Maker("joint_rate")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a joint: its largest share of the allowed rate and acceleration, exact, with when."""
    worst: dict[str, tuple[float, float, float, str, MoveSpan]] = {}
    scene = record.scene
    for move in record.moves:
        if move.end_s <= move.start_s:
            continue
        part = record.motion.between(move.start_s, move.end_s)
        load = scene.loaded.arm.document.loads[move.load]
        allowed = (joint_rates(scene.loaded.arm.document, load), joint_accelerations(scene.loaded.arm.document, load))
        # between the rows of a log accelerations are those of the pieces, not of the arm; check log says so
        orders = ((1, allowed[0]), (2, allowed[1])) if record.logged is None else ((1, allowed[0]),)
        for order, limits in orders:
            low, high = part.extremes(order)
            for joint, column, limit in zip(scene.arm_joints, scene.arm_columns, limits, strict=True):
                value = float(max(-low[column], high[column])) + 0.0  # no -0
                if joint not in worst or value / limit > worst[joint][0]:
                    worst[joint] = (value / limit, value, float(limit), ("rate", "acceleration")[order - 1], move)
    return tuple(_finding(record, joint, *entry) for joint, entry in sorted(worst.items(), key=_share))


def _share(item: tuple[str, tuple[float, float, float, str, MoveSpan]]) -> float:
    """Return the key of order: the joint with the largest share first."""
    return -item[1][0]


def _finding(
    record: Record, joint: str, share: float, value: float, limit: float, what: str, move: MoveSpan
) -> Finding:
    turns = record.scene.tree.revolute[record.scene.tree.column(joint)]
    unit = {"rate": ("m/s", "rad/s"), "acceleration": ("m/s^2", "rad/s^2")}[what][int(turns)]
    found = at_most(value, limit, unit)
    return _make.judged(
        found,
        joint,
        f"{joint} has its largest share of what is allowed ({near(share, '%')}) in {move.title}: {what} {found.said} "
        f"of {found.asked} with load '{move.load}'",
        at=(move.start_s, move.end_s),
        remedy="" if found.kept else f"slow {move.title} to {rate_share(1 / share)} of its rate",
    )
