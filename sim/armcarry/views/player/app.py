"""The Qt application round a window."""

from __future__ import annotations

import signal
import sys

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication, QMainWindow

from armcarry.views.player import look
from armcarry.views.player.icons import window_icon
from armcarry.views.player.opening import OpenedRun
from armcarry.views.player.window import Window


def application() -> QApplication:
    """Return the one Qt application, styled as ours."""
    app = QApplication.instance()
    if not isinstance(app, QApplication):
        app = QApplication(sys.argv[:1])
    app.setApplicationName("armcarry")
    app.setStyle("Fusion")  # the desktop's own style would mix its colours with ours
    app.setStyleSheet(look.style_sheet())
    app.setWindowIcon(window_icon())
    return app


def show_window(window: QMainWindow) -> None:
    """Show a window, as large as suits the screen, and let it be drawn."""
    window.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose, False)
    room = QGuiApplication.primaryScreen().availableGeometry()
    window.resize(min(1360, room.width()), min(800, room.height()))
    window.show()
    QApplication.processEvents()


def open_window(run: OpenedRun, other: OpenedRun | None = None, live: bool = False) -> Window:
    """Open a window on a run and show its start, seen from where all of it is seen; arguments as Window."""
    application()
    window = Window(run, other, live)
    show_window(window)
    window.act("overview")
    return window


def show(run: OpenedRun, other: OpenedRun | None = None, live: bool = False) -> int:
    """Open a window, stay until it is closed, and return the exit code."""
    app = application()
    window = open_window(run, other, live)
    # Python sees a signal only when it runs: look in now and then so that Ctrl+C in the terminal closes the window
    before = signal.signal(signal.SIGINT, lambda *_: window.close())
    pulse = QTimer()
    pulse.timeout.connect(lambda: None)
    pulse.start(300)
    try:
        return int(app.exec())
    finally:
        signal.signal(signal.SIGINT, before)
