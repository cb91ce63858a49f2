"""Do arm and hardware keep the separation that lets them stop before a free worker, and do riders go gently?"""

from __future__ import annotations

import numpy as np

from armcarry.checks.tip_speed import BAND_M_S
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.chain import Chain
from armcarry.motion.drift import Drift
from armcarry.motion.speed import tip_speed_maximum
from armcarry.quantities import clock
from armcarry.record.figures import at_least, at_most, rate_share, up
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.scene.eyes import whereabouts
from armcarry.scene.tree import WORLD
from armcarry.whatif.nearness import NEARNESS, Nearness, nearness, worker_speed_m_s

_make = Maker("near_people")


def check(record: Record) -> tuple[Finding, ...]:
    """Give a finding for every free worker, and one for every rider.

    A worker must at every instant at which the arm moves be farther from it, its rider and what they hold than
    the protective separation of ISO/TS 15066, with the rules' ``worker_speed`` or a walking person's. A rider
    must not go faster at the tip than the rules allow; the fastest point of body and load is told beside it.
    """
    record.result(NEARNESS)  # of every run, so that its plot has it too
    classes: dict[str, set[str]] = {}
    for phase in record.phases:
        if phase.end_s > phase.start_s:
            for crew, kind in whereabouts(record.scene, phase.tree).items():
                classes.setdefault(crew, set()).add(kind)
    workers = [_worker(record, crew) for crew, kinds in classes.items() if "worker" in kinds]
    riders = [found for crew, kinds in classes.items() if "rider" in kinds for found in _rider(record, crew)]
    if not workers:
        words = "nobody works outside the restraint in this run, so nobody is to be kept separate from the arm"
        workers = [_make.passed("arm", words)]
    return (*workers, *riders)


def _worker(record: Record, crew: str) -> Finding:
    found = nearness(record, crew)
    if found is None:
        words = f"the arm stands still whenever {crew} is outside"
        return _make.passed(crew, words, other="arm")
    apart = at_least(found.distance_m, found.separation.total_m, "m")
    report = record.scene.loaded.rules.report_distance
    relative = (
        f"nearer than {report:g} m to arm, rider or hardware they move against each other at "
        f"{up(found.relative_m_s, 'm/s', 3)} at most"
        if found.relative_m_s
        else f"never nearer than {report:g} m to arm, rider or hardware while they move"
    )
    speed = record.scene.loaded.rules.worker_speed
    pace = f"coming at {worker_speed_m_s(record):g} m/s{'' if speed else ' as a person walks'}"
    return _make.judged(
        apart,
        crew,
        f"{crew} is at least {apart.said} from {found.body} at {clock(found.time_s)}, where the protective separation, "
        f"{crew} {pace}, is {found.separation.explain(apart.shown_digits)}; {relative}",
        other=found.body,
        at=found.time_s,
        remedy="" if apart.kept else _remedy(record, found, apart.short),
    )


def _remedy(record: Record, found: Nearness, short: str) -> str:
    move = record.move_at(found.time_s)
    away = f"have {found.worker} wait {short} farther from {found.body}"
    share = slower_share(record, found)
    if move is None or share is None:
        return f"{away}; slowing the arm alone is not enough"
    return f"{away}, or slow {move.title} to {rate_share(share)} of its rate"


def slower_share(record: Record, found: Nearness) -> float | None:
    """Return the share of the arm's rates at which the distance is enough; None where not even standing is.

    The worker's way and the run-out shrink with the speed: Ss s^2 + (v_h Ts + Sr) s + v_h Tr + C + Z <= distance,
    with the braking time proportional to the rate.
    """
    arm, terms = record.scene.loaded.arm.document, found.separation
    still = worker_speed_m_s(record) * arm.reaction_time
    linear = terms.worker_m - still + terms.reaction_m
    left = found.distance_m - still - terms.intrusion_m - terms.worker_error_m - terms.machine_error_m
    if left <= 0:
        return None
    if terms.stopping_m <= 0:
        return min(left / linear, 1.0) if linear > 0 else 1.0
    root = (-linear + np.sqrt(linear**2 + 4 * terms.stopping_m * left)) / (2 * terms.stopping_m)
    return float(min(root, 1.0))


def _rider(record: Record, crew: str) -> list[Finding]:
    scene, allowed = record.scene, record.scene.loaded.rules.rider_tip_speed
    worst: tuple[float, float, str] | None = None
    for move in record.moves:
        tree = record.phase_at((move.start_s + move.end_s) / 2).tree
        if move.end_s <= move.start_s or crew not in scene.aboard(tree):
            continue
        held = record.motion.at(move.start_s)
        chain = Chain.of(tree, WORLD, scene.tool(tree), joints=scene.arm_joints, held=held)
        part = record.motion.between(move.start_s, move.end_s)
        _, upper, when = tip_speed_maximum(chain, part, tolerance_m_s=BAND_M_S)
        if worst is None or upper > worst[0]:
            worst = (upper, when, move.title)
    if worst is None:
        return []
    upper, when, title = worst
    body, fastest = _fastest(record, crew)
    speed = at_most(upper, allowed, "m/s", slack=BAND_M_S)
    return [
        _make.judged(
            speed,
            crew,
            f"with {crew} aboard the tip moves at {speed.said} at most, in {title}; {speed.asked} is allowed. No point "
            f"of {crew} or of what the arm carries goes faster than {up(fastest, 'm/s')} ({body})",
            other="tip",
            at=when,
            remedy="" if speed.kept else f"slow {title} to {rate_share(allowed / upper)} of its rate",
        )
    ]


def _fastest(record: Record, crew: str) -> tuple[str, float]:
    """Return the body of a rider and of what the arm carries with the fastest point, and a bound of its speed."""
    best = ("", 0.0)
    for phase in record.phases:
        aboard = record.scene.aboard(phase.tree)
        if phase.end_s <= phase.start_s or crew not in aboard:
            continue
        drift = Drift(phase.tree, record.motion, phase.start_s, phase.end_s)
        owners = (crew, *record.scene.carried(phase.tree))
        for body in phase.tree.bodies:
            if body.name.split("/", 1)[0] in owners:
                way, turned = drift.way(body.link, body.pose[:3, 3])
                speed = float(np.max(np.diff(way + bounding_radius_m(body.shape) * turned) / np.diff(drift.edges_s)))
                best = max(best, (body.name, speed), key=lambda item: item[1])
    return best
