"""What the steps of a day do to hardware, restraints, parts of the platform and the vehicle, before any clock time."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from armcarry.files.documents.steps import ARM, Step
from armcarry.geometry.poses import Array
from armcarry.scene.build import PLATFORM, VEHICLE
from armcarry.scene.crew import FREE_JOINTS
from armcarry.timeline.walked import Walkthrough


def _fit(walk: Walkthrough, step: Step) -> None:
    named = step.fit_restraint.which if step.fit_restraint is not None else None
    walk.rehang(step, named or next(iter(walk.scene.loaded.restraints)), walk.scene.arm_tip)


def _set(walk: Walkthrough, step: Step) -> None:
    """Turn a restraint to other settings over the step."""
    if step.set_restraint is None:
        return
    name = step.set_restraint.which or next(iter(walk.scene.loaded.restraints))
    known = walk.scene.loaded.restraints[name].document.settings
    for setting, angle in step.set_restraint.settings.items():
        walk.slide(step, f"{name}/{known[setting].joint}", angle)


def _appendage(walk: Walkthrough, step: Step) -> None:
    """Turn an appendage to another state in the time it takes, while everybody goes on with something else."""
    if step.move_appendage is None:
        return
    appendage = walk.scene.loaded.platform.document.appendages[step.move_appendage.appendage]
    for joint, value in appendage.states[step.move_appendage.state].items():
        walk.slide(step, f"{PLATFORM}/{joint}", value)


def _take(walk: Walkthrough, step: Step) -> None:
    walk.rehang(step, str(step.item), *hold(walk, step, step.actors[0], str(step.item)))


def _let_go(walk: Walkthrough, step: Step) -> None:
    """Let an item off its seat trail on the tether of whoever lets go of it; inside it is put down."""
    what, page = str(step.item), walk.pages[step.name]
    state = page.states[what]
    holders = [who for who in step.actors if who in walk.scene.loaded.crew and who in state.tethers & state.hands]
    if walk.scene.is_inside(walk.tree, what) and walk.scene.hatch is not None:
        walk.rehang(step, what, walk.scene.hatch)
    elif state.where == "held" and holders and state.hands <= set(step.actors):
        walk.rehang(step, what, *walk.scene.trailing(holders[0]))


def _hand_over(walk: Walkthrough, step: Step) -> None:
    if step.hand_over is not None:
        walk.rehang(step, step.hand_over.what, *hold(walk, step, step.hand_over.to, step.hand_over.what))


def _seat(walk: Walkthrough, step: Step) -> None:
    if step.seat is None:
        return
    platform = walk.scene.loaded.platform.document
    to = walk.scene.socket(step.seat.into)
    if to is None:
        return
    frame = to.removeprefix(f"{PLATFORM}/")
    cart = next((cart for cart in platform.carts.values() if cart.body_frame == frame), None)
    if cart is not None and step.seat.station is not None:  # the empty place on the rail goes where it is set down
        column = np.array([walk.scene.tree.column(f"{PLATFORM}/{cart.joint}")])
        walk.jump(step, column, np.array([step.seat.station]))
    walk.rehang(step, step.seat.what, to)


def hold(walk: Walkthrough, step: Step, actor: str, item: str) -> tuple[str, Array | None]:
    """Return where an item hangs that an actor takes: before the hands, or trailing while both are on a handrail."""
    if actor == ARM:
        return walk.scene.arm_tip, None
    if actor in walk.on_rail and actor in walk.pages[step.name].states[item].tethers:
        return walk.scene.trailing(actor)
    return f"{actor}/{walk.scene.loaded.crew[actor].document.hands}", None


def _fasten(walk: Walkthrough, step: Step, make: str = "") -> None:
    """Turn the joint of a lock or cover to its open or closed position over the step."""
    detail = step.fold_cover or step.lock or step.unlock
    if detail is None:
        return
    fastener = walk.scene.loaded.hardware[detail.what].document.fasteners[detail.fastener]
    to = fastener.open if (make or getattr(detail, "make", "")) == "open" else fastener.closed
    if fastener.joint is not None and to is not None:
        walk.slide(step, f"{detail.what}/{fastener.joint}", to)


def _vehicle(walk: Walkthrough, step: Step) -> None:
    """Move the vehicle straight to another place in its dock's frame, over the whole step, as it is turned."""
    if step.move_vehicle is None:
        return
    for joint, value in zip(FREE_JOINTS[:3], step.move_vehicle.goal, strict=True):
        walk.slide(step, f"{VEHICLE}/{joint}", float(value))


#: kind of step -> what it does
HANDLING: dict[str, Callable[[Walkthrough, Step], None]] = {
    "fit_restraint": _fit, "set_restraint": _set, "move_appendage": _appendage, "move_vehicle": _vehicle, "take": _take,
    "let_go": _let_go, "hand_over": _hand_over, "seat": _seat, "fold_cover": _fasten,
    "lock": partial(_fasten, make="closed"), "unlock": partial(_fasten, make="open"),
}
