"""What the buttons under the findings do: go to where one is, offer what may mend it, do that."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PySide6.QtWidgets import QApplication, QMainWindow, QMenu

from armcarry.editing.mend import Remedy, mend, remedies
from armcarry.editing.session import Session
from armcarry.quantities import clock
from armcarry.views.editing.panel import Panel
from armcarry.views.editing.scene import EditScene


class Mending(QMainWindow):
    """The part of the window that mends; the window gives it what it acts on."""

    session: Session
    panel: Panel
    scene: EditScene

    def do(self, act: Callable[[], object]) -> None:
        """Do something to the script, and show what came of it."""
        raise NotImplementedError

    def say(self, words: str) -> None:
        """Tell the user something."""
        raise NotImplementedError

    def choose(self, at: tuple[int, int]) -> None:
        """Choose a move in the list."""
        raise NotImplementedError

    def take_there(self) -> None:
        """Show the instant and the pair of the chosen finding."""
        finding = self.panel.finding()
        if finding is None:
            return
        pair = {finding.subject, finding.other}
        rows = [row for row in self.session.answer.record.pairs if {row.body_a, row.body_b} == pair]
        row = min(rows, key=lambda one: abs(one.time_s - finding.start_s), default=None)
        flown = next((one for one in self.session.answer.moves if one.start_s <= finding.start_s <= one.end_s), None)
        if flown is not None and flown.written[0] >= 0:
            self.choose(flown.written)
        self.scene.show(finding.start_s, None, row)
        if row is not None and np.isfinite(row.upper_m):
            self.scene.look_at(np.asarray(row.point_a))
        self.scene.view.render()
        self.say(f"{clock(finding.start_s)}: {finding.message}; {finding.remedy}")

    def offer(self) -> None:
        """Open the menu of what may mend the chosen finding."""
        menu = self.mend_menu()
        if menu is not None:
            menu.exec(self.panel.mend.mapToGlobal(self.panel.mend.rect().topLeft()))

    def mend_menu(self) -> QMenu | None:
        """Return what may mend the chosen finding, as a menu; None where nothing is chosen."""
        finding = self.panel.finding()
        if finding is None:
            return None
        menu, offered = QMenu(self), remedies(self.session, finding)
        for remedy in offered:
            menu.addAction(remedy.title + (" …" if remedy.searches else "")).triggered.connect(
                lambda _=False, remedy=remedy: self.mend(remedy)
            )
        if not offered:
            menu.addAction(finding.remedy or "nothing can be done at once").setEnabled(False)
        return menu

    def mend(self, remedy: Remedy) -> None:
        """Do a remedy; one undo takes it back."""
        self.say(f"{remedy.title}: looked for" if remedy.searches else remedy.title)
        QApplication.processEvents()
        self.do(lambda: mend(self.session, remedy))
