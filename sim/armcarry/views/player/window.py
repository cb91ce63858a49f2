"""The window: puts session, 3-D view, plots, timeline, findings and controls together and keeps them in step."""

from __future__ import annotations

import time
from collections.abc import Callable

from PySide6.QtCore import QEvent, QEventLoop, QObject, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QGuiApplication, QKeyEvent
from PySide6.QtWidgets import QApplication, QLineEdit, QMainWindow, QWidget

from armcarry.errors import ArmcarryError
from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict
from armcarry.views.lanes import day_lanes, hands_lanes, run_lanes
from armcarry.views.player import look
from armcarry.views.player.actions import actions
from armcarry.views.player.canvas import canvas
from armcarry.views.player.keys import ACTION_OF, KEY_OF, LAYER_OF
from armcarry.views.player.layout import Layout
from armcarry.views.player.mouse import Mouse
from armcarry.views.player.nearest import Closest, Nearest
from armcarry.views.player.opening import OpenedRun
from armcarry.views.player.pressed import key_name
from armcarry.views.player.scene import QUICK, SHARP, SceneView
from armcarry.views.player.session import Session
from armcarry.views.player.side import headline
from armcarry.views.pointed import gap_of, look_at, standing
from armcarry.views.viewpoint import towards_gap

#: least time between two updates of words and cursors, and of tables, seconds
_WORDS_S, _TABLES_S = 0.06, 0.2
#: a still view is drawn with more samples after this, so that stepping stays quick, milliseconds
_REST_MS = 250
_MESSAGE_MS = 8000


class Window(QMainWindow):
    """The player window.

    Attributes:
        session, scene, closest: the state, the 3-D view and what is near in it.
        canvas, view: what draws the 3-D view, and its widget.
        stop_movie: set while a movie is being made to give it up.
    """

    def __init__(self, run: OpenedRun, other: OpenedRun | None = None, live: bool = False) -> None:
        """Args: run; other, drawn over it; live, whether a graphics card draws the view."""
        super().__init__()
        self.run, self.other = run, other
        self.session = Session(run.record, run.findings)
        self.canvas = canvas(live)
        self.view = self.canvas.widget
        ghost = None if other is None else other.record
        self.scene = SceneView(self.canvas.plotter, run.record, ghost, self.canvas.draw)
        self.scene.samples(QUICK)
        self.closest = Closest(run.record, self.scene.scene.groups)
        self.nearest = Nearest(None)
        self.on = {"show_closest": True, "show_other": other is not None}
        self._lanes = [run_lanes(run.record), hands_lanes(run.record)]
        day = day_lanes(run.record)
        if day is not None:
            self._lanes.insert(0, day)
        self.layout_ = Layout(self, self._lanes[0])
        self.setCentralWidget(self.layout_.pages)
        self.setWindowTitle(f"{run.record.scene.loaded.scenario.title} – armcarry")
        self.resize(1360, 800)
        self.actions_: dict[str, Callable[[], None]] = actions(self)
        self._last = self._words_at = self._tables_at = 0.0
        self.stop_movie = False
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self.tick)
        self._rest = QTimer(self)
        self._rest.setSingleShot(True)
        self._rest.timeout.connect(self._sharpen)
        self._hush = QTimer(self)
        self._hush.setSingleShot(True)
        self._hush.timeout.connect(lambda: self.layout_.message.hide())
        self._mouse = Mouse(self.view, self.scene.cameras, self._grabbed, self.scene.render, self._let_go)
        QApplication.instance().installEventFilter(self)  # type: ignore[union-attr]

    # -- time ---------------------------------------------------------------------------------

    def tick(self) -> None:
        """Draw a frame if time has moved on."""
        now = time.perf_counter()
        elapsed, self._last = now - self._last, now
        # after a hitch, such as a dialog of the desktop, do not leap
        if self.session.tick(min(elapsed, 0.25)):
            self.refresh(hurry=True)
        if not self.session.playing:
            self.settle()

    def play(self) -> None:
        """Let time run or hold it."""
        self.session.toggle()
        if self.session.playing:
            self._rest.stop()
            self._last = time.perf_counter()
            self._timer.start(8)
        self.settle()

    def settle(self) -> None:
        """Bring everything to the instant of the session, all words included."""
        if not self.session.playing:
            self._timer.stop()
        self.refresh(hurry=False)
        self.show_state()
        self._rest.start(_REST_MS)

    def seek(self, time_s: float) -> None:
        """Show an instant."""
        self.session.seek(time_s)
        self.settle()

    def refresh(self, hurry: bool) -> None:
        """Draw the instant of the session; in a hurry, words and tables wait for their turn."""
        if hurry or self._rest.isActive():
            self.scene.samples(QUICK)
        self.scene.show(self.session.time_s)
        tinted = self.on.get("show_margin", False)
        self.nearest = self.closest.at(self.session.time_s, parts=tinted)
        chosen = self.session.chosen if self.on.get("show_closest") else None
        if chosen is None:
            self.scene.show_nearest(self.nearest if self.on.get("show_closest") else None)
        else:
            self.scene.show_finding(chosen)
        if tinted:
            self.scene.tint.show(self.nearest.margin_m)
        ruler = self.layout_.side.ruler
        self.scene.show_measured(ruler.measure(self.session.time_s) if self.on.get("show_measure") else None)
        self.scene.render()
        now = time.perf_counter()
        if not hurry or now - self._words_at >= _WORDS_S:
            self._words_at = now
            self._write(tables=not hurry or now - self._tables_at >= _TABLES_S)

    def _write(self, tables: bool) -> None:
        parts = self.layout_
        record, chosen = self.run.record, self.session.chosen
        parts.caption.setText(self.session.caption or self.run.record.scene.loaded.scenario.title)
        if parts.briefing:
            value = headline(self.nearest, chosen, record)[1]
            parts.figures.setText("   ·   ".join(
                (clock(self.session.time_s), f"{self.session.speed:g} x", value, self.scene.cameras.title)
            ))
            return
        parts.controls.show_time()
        parts.timeline.show_time(self.session.time_s)
        if parts.panels:
            parts.plots.show_time(self.session.time_s)
            if tables:
                self._tables_at = time.perf_counter()
                parts.side.show_headline(self.nearest, chosen, record)
                parts.plots.show_values()

    def show_state(self) -> None:
        """Show what is on, how fast time runs, and from where it is seen."""
        self.layout_.controls.show_state(self.scene.cameras.mode)
        self.layout_.side.show_toggles(self.on)

    def _sharpen(self) -> None:
        if not self.session.playing and self.scene.samples(SHARP):
            self.scene.render()

    # -- doing --------------------------------------------------------------------------------

    def act(self, action: str) -> None:
        """Do what a key or button stands for; what goes wrong is said, never raised."""
        try:
            self.actions_[action]()
        except (ArmcarryError, OSError) as error:
            self.say(f"{KEY_OF[action].words}: {error}")
        except Exception as error:  # a fault in one view must not take the others away
            self.say(f"{KEY_OF[action].words} failed: {type(error).__name__}: {error}")

    def say(self, words: str) -> None:
        """Tell the user something for a while."""
        self.layout_.show_message(words, self.view)
        self._hush.start(_MESSAGE_MS)

    def toggle(self, action: str) -> None:
        """Show or hide something."""
        on = not self.on.get(action, False)
        layer = LAYER_OF.get(action)
        if layer is not None:
            if layer not in self.scene.makers:
                self.say(f"{KEY_OF[action].words}: not in this run")
                return
            if on and not self.scene.has_layer(layer):  # some take seconds: say so, and let it be drawn
                self.say(f"{KEY_OF[action].words}: working it out")
                QApplication.processEvents(QEventLoop.ProcessEventsFlag.ExcludeUserInputEvents)
                self._hush.start(1)
            self.scene.show_layer(layer, on)
        elif action == "show_proven":
            self.scene.scene.show_proven(on)
        elif action == "show_corner":
            self.scene.corner.show(on and self.scene.corner.there)
        elif action == "show_other":
            if self.other is None:
                self.say("no second run was opened; type: armcarry play RUN --over OTHER")
                return
            self.scene.show_ghost(on)
        elif action == "show_margin" and not on:
            self.scene.tint.off()
        self.on[action] = on
        self.settle()

    def jump(self, finding: Finding | None) -> None:
        """Show a finding: its instant, and its gap when it is about one."""
        if finding is None or self.session.finding is None:
            self.say("this run has no findings")
            return
        self.layout_.findings.choose(self.session.finding)
        gap = gap_of(self.run.record, finding)
        if gap is not None and gap.row is not None:
            self.layout_.plots.show_group(gap.row)
        self.settle()
        if gap is not None or finding.verdict is Verdict.FAIL:
            bodies = None if gap is None else (gap.bodies, gap.point_a, gap.point_b)
            self.scene.look(look_at(self.run.record, finding), bodies, standing(self.run.record, gap))
            self.settle()
        if self.layout_.briefing:
            self.layout_.caption.setText(finding.message)

    def look_at_gap(self) -> None:
        """Look at the closest pair of this instant."""
        row = self.nearest.row
        if row is None:
            self.say("no pair with a rule is near at this instant")
            return
        pair = (row.body_a, row.body_b)
        a, b = self.nearest.point_a, self.nearest.point_b
        self.scene.look(towards_gap(self.run.record, self.session.time_s, pair, a, b), (pair, a, b))
        self.settle()

    def choose_camera(self, mode: str) -> None:
        """Look from somewhere else."""
        self.scene.cameras.choose(mode, self.session.time_s)
        self.settle()

    def choose_speed(self, speed: float) -> None:
        """Let time run at another speed."""
        self.session.set_speed(speed)
        self.settle()

    def next_lanes(self) -> None:
        """Show the next timeline: the day by its steps if there is one, the moves, what hands hold."""
        self._lanes.append(self._lanes.pop(0))
        self.layout_.timeline.set_lanes(self._lanes[0])
        self.say(self._lanes[0].title)

    def leave(self) -> None:
        """Leave what covers the window: the movie being made, help, briefing, full screen."""
        self.stop_movie = True
        if self.layout_.helping:
            self.layout_.show_help(False)
        elif self.layout_.briefing:
            self.brief()
        elif self.isFullScreen():
            self.showNormal()

    def brief(self) -> None:
        """Enter or leave briefing mode: the view, large captions, nothing else, over the full screen."""
        on = not self.layout_.briefing
        if on:
            screen = QGuiApplication.primaryScreen().geometry()
            self._before = self.geometry()
            self.showFullScreen()
            self.setGeometry(screen)  # where no window manager does it
            self.setStyleSheet(look.briefing_sheet(screen.height()))
        else:
            self.setStyleSheet("")
            self.showNormal()
            self.setGeometry(self._before)
        self.layout_.brief(on)
        self.settle()

    # -- Qt -----------------------------------------------------------------------------------

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Take every key of this window first, so that none ends in the 3-D view's own table of keys."""
        if event.type() != QEvent.Type.KeyPress or not isinstance(event, QKeyEvent):
            return super().eventFilter(watched, event)
        if not isinstance(watched, QWidget) or watched.window() is not self:
            return super().eventFilter(watched, event)
        name = key_name(event)
        if isinstance(watched, QLineEdit):
            if name == "Escape":
                watched.clear()
                watched.clearFocus()
                return True
            return False
        action = ACTION_OF.get(name)
        if action is None:
            # letters mean nothing else here; arrows and Tab go on to tables and buttons
            return watched is self.view or bool(event.text().strip())
        self.act(action)
        return True

    def closeEvent(self, event: QCloseEvent) -> None:
        """Let go of the 3-D view before its window goes."""
        self._timer.stop()
        self._rest.stop()
        self.stop_movie = True
        QApplication.instance().removeEventFilter(self)  # type: ignore[union-attr]
        self.canvas.end()
        super().closeEvent(event)

    def _grabbed(self) -> None:
        """Draw quickly while the mouse turns the view; an eye that is dragged becomes a free view."""
        self._rest.stop()
        self.scene.samples(QUICK)
        if self.scene.cameras.mode not in ("free", "follow"):
            self.scene.cameras.choose("free", self.session.time_s)
            self.show_state()

    def _let_go(self) -> None:
        self._rest.start(_REST_MS)
