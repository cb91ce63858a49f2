"""Writing the ledger of a run: from its day or its carries, with presence from where everything really is."""

from __future__ import annotations

from collections.abc import Sequence

from armcarry.ledger.book import Ledger, keep
from armcarry.ledger.presence import OnTheClock
from armcarry.motion.curve import Motion
from armcarry.scene.build import Scene
from armcarry.timeline.acts import acts_of_day, acts_of_run
from armcarry.timeline.first_page import page_at_start
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.run import Event, MoveSpan, Phase


def ledger_of(
    scene: Scene,
    plan: DayPlan | None,
    phases: Sequence[Phase],
    motion: Motion,
    moves: Sequence[MoveSpan],
    events: Sequence[Event],
) -> Ledger:
    """Write the ledger of a run.

    Args:
        plan: the day as it was scheduled; None for carries alone, whose bolts and connectors nobody is said to turn.
        phases, motion, moves, events: of the run.
    """
    around = OnTheClock(scene, tuple(phases), motion)
    if plan is None:
        start = page_at_start(scene.loaded, bonds=False)
        return keep(start, acts_of_run(scene.loaded, start, moves, events), around)
    start = page_at_start(scene.loaded)
    # what the moves of a carry attach and leave; what the steps take and seat is in the day already
    switches = {move.start_s for move in moves if move.kind in ("attach", "detach")}
    inner = [event for event in events if event.time_s in switches]
    acts = acts_of_day(plan.day, plan.schedule, start, loaded=scene.loaded, events=inner)
    return keep(start, acts, around)
