"""What stands where at the start, as a page beside the scene: base, restraint, appendages, and what is placed anew."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QComboBox,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QWidget,
)

from armcarry.editing.moves import angle, length
from armcarry.planning.detents import angles_rad
from armcarry.quantities import parse
from armcarry.views.editing.options import Do
from armcarry.views.editing.placing import place_item, place_person, place_restraint

if TYPE_CHECKING:
    from armcarry.editing.session import Session


class StartPage(QScrollArea):
    """What stands where at the start.

    Attributes:
        station: of the base; fields, the steps of each setting of the restraint; states, of each appendage.
    """

    def __init__(self, session: Session, do: Do) -> None:
        """Args: as of WayPage."""
        super().__init__()
        self._session, self._do = session, do
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._lay_out()
        self.show_start()

    def _lay_out(self) -> None:
        """Make the page for what there is: anew where a restraint was placed or taken away."""
        session = self._session
        self.station = QLineEdit()
        self.fields: dict[str, QComboBox] = {}
        self.states: dict[str, QComboBox] = {}
        page, form, stands = QWidget(), QFormLayout(), session.stands
        row = QHBoxLayout()
        for words, place in (("Item …", place_item), ("Person …", place_person), ("Restraint …", place_restraint)):
            button = QPushButton(words)
            button.setToolTip("place one at the start")
            button.clicked.connect(lambda _=False, place=place: place(self, self._session, self._do))
            # the page is as wide as its fields
            button.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
            row.addWidget(button)
        form.addRow(row)
        self.station.editingFinished.connect(self._typed_station)
        form.addRow("Base along its rail", self.station)
        restraint = session.answer.record.scene.loaded.restraint
        for name in stands["settings"]:
            self.fields[name] = QComboBox()
            for value in angles_rad(restraint.document.settings[name]) if restraint is not None else ():
                self.fields[name].addItem(angle(value), value)
            self.fields[name].activated.connect(lambda _, name=name: self._set(name))
            form.addRow(f"Restraint {name.replace('_', ' ')}", self.fields[name])
        for name, one in session.answer.record.scene.loaded.platform.document.appendages.items():
            self.states[name] = QComboBox()
            self.states[name].addItems(list(one.states))
            self.states[name].activated.connect(lambda _, name=name: self._chosen(name))
            form.addRow(name.replace("_", " ").capitalize(), self.states[name])
        form.setContentsMargins(10, 10, 18, 10)  # beside the scroll bar
        page.setLayout(form)
        self.setWidget(page)

    def show_start(self) -> None:
        """Show what stands where as the script says now."""
        stands = self._session.stands
        if set(stands["settings"]) != set(self.fields):
            self._lay_out()
        self.station.setEnabled(stands["station"] is not None)
        if not self.station.isModified():  # else somebody is typing
            self.station.setText("not on a rail" if stands["station"] is None else length(stands["station"]))
        for name, field in self.fields.items():
            field.setCurrentText(angle(stands["settings"].get(name, 0.0)))
        for name, box in self.states.items():
            box.setCurrentText(stands["appendages"][name])

    def _typed_station(self) -> None:
        if self.station.isModified():
            self.station.setModified(False)
            self._do(lambda: self._session.station(parse(self.station.text(), "length")))
            self.show_start()

    def _set(self, name: str) -> None:
        self._do(lambda: self._session.setting(name, float(self.fields[name].currentData())))
        self.show_start()

    def _chosen(self, name: str) -> None:
        self._do(lambda: self._session.appendage(name, self.states[name].currentText()))
        self.show_start()
