"""The pictures a script asks for, against what stands in it."""

from __future__ import annotations

from armcarry.files import names
from armcarry.files.script import Script


def check_pictures(script: Script) -> None:
    """Add every picture that shows nothing of the scene, from nowhere, at no step, or under a name that is taken."""
    document, platform = script.document, script.platform
    things = [*document.crew, *document.hardware, *document.all_restraints, *platform.seats, *platform.worksites]
    day = [] if document.day is None else [step.name for step in document.day.steps]
    steps = [*day, *(move.name for carry in document.carries for move in carry.moves if move.name is not None)]
    taken: set[str] = set()
    for k, picture in enumerate(document.pictures):
        here = ("pictures", k)
        if picture.name in taken:
            script.tell((*here, "name"), f"two pictures are named '{picture.name}'", accepted="a name used once")
        taken.add(picture.name)
        for j, pattern in enumerate(picture.highlight):
            if not names.matches_any(pattern, (*things, *script.bodies)):
                accepted = names.accepted(pattern, [*things, *script.bodies], "body")
                script.tell((*here, "highlight", j), f"nothing in this scenario fits '{pattern}'", accepted=accepted)
        if picture.seen_from is not None:
            script.known((*here, "seen_from"), picture.seen_from, (*document.crew, *platform.cameras), "camera")
        if picture.step is not None:
            script.known((*here, "step"), picture.step, steps, "step or named move")
