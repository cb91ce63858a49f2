"""The day as lanes of bars, one lane an actor: a step is dragged along the clock, or into the lane of somebody else."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QMouseEvent, QPainter, QPaintEvent, QPen

from armcarry.editing.answer import Answer, OnClock
from armcarry.scene.build import ARM
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.lanes import Bar, Lane, Lanes
from armcarry.views.player import look
from armcarry.views.player.timeline import LANE_PX, NAMES_PX, Timeline

#: how far a bar is dragged before it is moved, px
_DRAG_PX = 4


class DayLine(Timeline):
    """The steps of the day; what fails of the schedule has a frame.

    Attributes:
        actors: of the lanes, from the top.
    """

    #: a step that was dragged: its name, when it is to begin, into whose lane, out of whose
    dragged = Signal(str, float, str, str)

    def __init__(self, answer: Answer) -> None:
        """Args: answer, whose steps are shown."""
        self._steps: tuple[OnClock, ...] = ()
        self.actors: tuple[str, ...] = ()
        self._failing: frozenset[str] = frozenset()
        self._held: tuple[OnClock, str, QPointF] | None = None
        self._at = QPointF()
        super().__init__(self._laid(answer))
        self.setAccessibleName("The day: drag a step along the clock, or to somebody else")

    def take(self, answer: Answer) -> None:
        """Show the steps of another answer."""
        self.set_lanes(self._laid(answer))

    def _laid(self, answer: Answer) -> Lanes:
        self._steps, self._held = answer.steps, None
        told = [one for one in answer.failed if one.check == "schedule"]
        self._failing = frozenset(name for one in told for name in (one.subject, one.other))
        found = dict.fromkeys(actor for step in answer.steps for actor in step.actors)
        self.actors = tuple(sorted(found, key=lambda actor: actor != ARM))
        lanes = [Lane(plain(actor), tuple(_bar(step) for step in self._steps if actor in step.actors))
                 for actor in self.actors]  # fmt: skip
        end = max([answer.duration_s, *(step.end_s for step in self._steps)])
        return Lanes("steps of the day", 0.0, end, tuple(lanes))

    def where(self, name: str, actor: str) -> QRectF:
        """Return where the bar of a step is in the lane of an actor, px."""
        step = next(one for one in self._steps if one.name == name)
        return self._box(step, actor)

    def _box(self, step: OnClock, actor: str) -> QRectF:
        left, right = self._x(step.start_s), self._x(step.end_s)
        return QRectF(left, self.actors.index(actor) * LANE_PX + 2, max(right - left - 1, 2), LANE_PX - 4)

    def _lane(self, y: float) -> str:
        return self.actors[min(max(int(y // LANE_PX), 0), len(self.actors) - 1)]

    def _step_at(self, point: QPointF) -> tuple[OnClock, str] | None:
        if not self.actors or not 0 <= point.y() < len(self.actors) * LANE_PX:
            return None
        actor = self._lane(point.y())
        near = [step for step in self._steps if actor in step.actors
                and self._box(step, actor).adjusted(-2, -2, 2, 2).contains(point)]  # fmt: skip
        return (min(near, key=lambda step: step.end_s - step.start_s), actor) if near else None

    # -- drawing ------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the lanes, frames about what fails, and the bar that is dragged."""
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setPen(QPen(QColor(look.FAIL_TEXT), 2))
        for step in self._steps:
            for actor in step.actors if step.name in self._failing else ():
                painter.drawRect(self._box(step, actor))
        if self._held is not None:
            step, actor, begun = self._held
            box = self._box(step, actor)
            box.moveLeft(box.left() + self._at.x() - begun.x())
            box.moveTop(self.actors.index(self._lane(self._at.y())) * LANE_PX + 2)
            painter.setPen(QPen(QColor(palette.LIGHT), 2, Qt.PenStyle.DashLine))
            painter.drawRect(box)

    # -- mouse --------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take a bar; beside one, go to the instant."""
        found = self._step_at(event.position())
        if found is None:
            super().mousePressEvent(event)
            return
        self._held, self._at = (*found, event.position()), event.position()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Drag the bar that is held."""
        if self._held is None:
            super().mouseMoveEvent(event)
            return
        self._at = event.position()
        self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Tell where the bar was dragged; one that was only clicked goes to its beginning."""
        if self._held is None:
            return
        (step, actor, begun), self._held = self._held, None
        by, lane = event.position() - begun, self._lane(event.position().y())
        self.update()
        if abs(by.x()) < _DRAG_PX and lane == actor:
            self.asked.emit(step.start_s)
        else:
            per_px = (self.lanes.end_s - self.lanes.start_s) / max(self.width() - NAMES_PX - 6, 1)
            moved_s = by.x() * per_px if abs(by.x()) >= _DRAG_PX else 0.0
            self.dragged.emit(step.name, max(step.start_s + moved_s, 0.0), lane, actor)


def _bar(step: OnClock) -> Bar:
    """Return a step as a bar; one that followed from an intent is an outline, and stays."""
    kind = "still" if step.number is None else "critical" if step.critical else "move"
    more = [step.title, f"by {', '.join(step.actors)}", *(["no time to spare"] if step.critical else [])]
    more += ["followed from one by intent: write the day out to move it"] if step.number is None else []
    return Bar(step.start_s, step.end_s, step.title, kind, "\n".join(more))
