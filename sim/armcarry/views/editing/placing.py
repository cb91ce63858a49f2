"""Placing what stands somewhere at the start: an item, a person, the foot restraint, each asked for in a dialog."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtWidgets import QWidget

from armcarry.files.documents.bodies import CrewDocument
from armcarry.files.listing import models_here
from armcarry.files.validate import read_source
from armcarry.scene.build import ARM, PLATFORM
from armcarry.views.editing.dialogs import Choose
from armcarry.views.editing.options import Do

if TYPE_CHECKING:
    from armcarry.editing.session import Session

INSIDE = "inside"


def _models(session: Session, kind: str) -> list[str]:
    return [name for (of, name) in models_here(session.path.parent) if of == kind]


def place_item(parent: QWidget, session: Session, do: Do) -> None:
    """Ask for an item and a seat, and put it there."""
    models = _models(session, "hardware")
    seats = session.answer.record.scene.loaded.platform.document.seats
    words = "It is there at the start. A seat takes the items that its platform names."
    asked = Choose(parent, "Place an item", words, {
        "Model": models, "Name": models, "At": [f"{PLATFORM}/{seat.frame}" for seat in seats.values()],
    })  # fmt: skip
    asked.boxes["Model"].currentTextChanged.connect(asked.boxes["Name"].setCurrentText)
    if asked.exec():
        do(lambda: session.item(asked["Name"], asked["Model"], asked["At"]))


def place_person(parent: QWidget, session: Session, do: Do) -> None:
    """Ask for a person, size, posture and place, and put them there."""
    known, loaded = models_here(session.path.parent), session.answer.record.scene.loaded
    bodies = {name: read_source(path, CrewDocument).document for (of, name), path in known.items() if of == "crew"}
    sites = loaded.platform.document.worksites.values()
    words = "On the arm they ride in its restraint; a frame is where their boots are."
    asked = Choose(parent, "Place a person", words, {
        "Name": [f"ev{k}" for k in range(1, len(loaded.crew) + 2) if f"ev{k}" not in loaded.crew], "Body": list(bodies),
        "Size": list(dict.fromkeys(size for one in bodies.values() for size in one.sizes)),
        "Posture": list(dict.fromkeys(posture for one in bodies.values() for posture in one.postures)),
        "At": [ARM, INSIDE, *(f"{PLATFORM}/{site.stand}" for site in sites)],
    })  # fmt: skip
    asked.boxes["Size"].setCurrentText("medium")
    asked.boxes["Posture"].setCurrentText("carry")
    if asked.exec():
        do(lambda: session.person(asked["Name"], asked["Body"], asked["Size"], asked["Posture"], asked["At"]))


def place_restraint(parent: QWidget, session: Session, do: Do) -> None:
    """Ask for a foot restraint and its place, and put it there."""
    sites = session.answer.record.scene.loaded.platform.document.worksites.values()
    sockets = dict.fromkeys(f"{PLATFORM}/{site.socket}" for site in sites if site.socket)
    asked = Choose(parent, "Place the foot restraint", "Its settings are on the page Start once it is there.", {
        "Model": _models(session, "restraints"), "At": [ARM, *sockets],
    })  # fmt: skip
    if asked.exec():
        do(lambda: session.restraint(asked["Model"], asked["At"]))
