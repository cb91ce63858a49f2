"""Do arm and hardware keep the separation that lets them stop before a free worker, and do riders go gently?"""

from __future__ import annotations

import numpy as np

from armcarry.checks.tip_speed import BAND_M_S
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.chain import Chain
from armcarry.motion.drift import Drift
from armcarry.motion.speed import tip_speed_maximum
from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.scene.eyes import whereabouts
from armcarry.scene.tree import WORLD
from armcarry.whatif.nearness import Nearness, nearness, worker_speed_m_s


def check(record: Record) -> tuple[Finding, ...]:
    """Give a finding for every free worker, and one for every rider.

    A worker must at every instant at which the arm moves be farther from it, its rider and what they hold than
    the protective separation of ISO/TS 15066, with the rules' ``worker_speed`` or a walking person's. A rider
    must not go faster at the tip than the rules allow; the fastest point of body and load is told beside it.
    """
    classes: dict[str, set[str]] = {}
    for phase in record.phases:
        if phase.end_s > phase.start_s:
            for crew, kind in whereabouts(record.scene, phase.tree).items():
                classes.setdefault(crew, set()).add(kind)
    workers = [_worker(record, crew) for crew, kinds in classes.items() if "worker" in kinds]
    riders = [found for crew, kinds in classes.items() if "rider" in kinds for found in _rider(record, crew)]
    if not workers:
        words = "nobody works outside the restraint in this run, so nobody is to be kept separate from the arm"
        workers = [Finding("near_people", Verdict.PASS, "arm", words)]
    return (*workers, *riders)


def _worker(record: Record, crew: str) -> Finding:
    found = nearness(record, crew)
    if found is None:
        words = f"the arm stands still whenever {crew} is outside"
        return Finding("near_people", Verdict.PASS, crew, words, other="arm")
    passed = found.margin_m >= 0
    report = record.scene.loaded.rules.report_distance
    relative = (
        f"nearer than {report:g} m to arm, rider or hardware they move against each other at {found.relative_m_s:.3f} "
        "m/s at most"
        if found.relative_m_s
        else f"never nearer than {report:g} m to arm, rider or hardware while they move"
    )
    speed = record.scene.loaded.rules.worker_speed
    pace = f"coming at {worker_speed_m_s(record):g} m/s{'' if speed else ' as a person walks'}"
    return Finding(
        check="near_people",
        verdict=Verdict.PASS if passed else Verdict.FAIL,
        subject=crew,
        other=found.body,
        message=f"{crew} is at least {found.distance_m:.3f} m from {found.body} at {clock(found.time_s)}, where the "
        f"protective separation, {crew} {pace}, is {found.separation.explain()}; {relative}",
        start_s=found.time_s,
        end_s=found.time_s,
        value=found.distance_m,
        limit=found.separation.total_m,
        unit="m",
        remedy="" if passed else _remedy(record, found),
    )


def _remedy(record: Record, found: Nearness) -> str:
    move = record.move_at(found.time_s)
    away = f"have {found.worker} wait {-found.margin_m:.2f} m farther from {found.body}"
    share = slower_share(record, found)
    if move is None or share is None:
        return f"{away}; slowing the arm alone is not enough"
    return f"{away}, or slow {move.title} to {share:.0%} of its rate"


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
    passed = upper <= allowed + BAND_M_S
    body, fastest = _fastest(record, crew)
    return [
        Finding(
            check="near_people",
            verdict=Verdict.PASS if passed else Verdict.FAIL,
            subject=crew,
            other="tip",
            message=f"with {crew} aboard the tip moves at {upper:.4f} m/s at most, in {title}; {allowed:.4f} m/s is "
            f"allowed. No point of {crew} or of what the arm carries goes faster than {fastest:.4f} m/s ({body})",
            start_s=when,
            end_s=when,
            value=upper,
            limit=allowed,
            unit="m/s",
            remedy="" if passed else f"slow {title} to {allowed / upper:.0%} of its rate",
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
