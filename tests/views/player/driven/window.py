"""The real window, driven by keys and clicks. Run in a child process under a virtual display by ../test_window.py."""

import os
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QGuiApplication, QImage, QMouseEvent, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QLabel, QLineEdit

from armcarry.record.finding import Finding, Verdict
from armcarry.views import palette
from armcarry.views.lanes import hands_lanes, run_lanes
from armcarry.views.player import display, look
from armcarry.views.player.keys import KEYS, LAYER_OF
from armcarry.views.player.opening import OpenedRun
from armcarry.views.player.side import finding_words

display.prepare()

KEY = Qt.Key
CONTROL, SHIFT, PLAIN = (
    Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.NoModifier
)


@pytest.fixture(scope="module")
def run(small_run, tmp_path_factory):
    record, findings = small_run
    return OpenedRun(record, findings, Path("small"), tmp_path_factory.mktemp("views"), "small")


@pytest.fixture(scope="module")
def window(run):
    from armcarry.views.player.app import open_window

    opened = open_window(run, replace(run, name="the same"), live="PLAYER_LIVE" in os.environ)
    opened.move(0, 0)
    opened.resize(1280, 720)
    wait(0.4)
    yield opened
    opened.close()


@pytest.fixture(autouse=True)
def at_the_start(window):
    window.layout_.message.setText("")
    if window.session.playing:
        window.play()
    window.session.set_speed(1.0)
    window.session.skips = False
    window.choose_camera("free")
    window.act("overview")
    window.seek(0.0)
    yield
    for action, on in list(window.on.items()):
        if on and action not in ("show_closest", "show_other"):
            window.act(action)
    if not window.layout_.panels:
        window.act("panels")


def wait(seconds):
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        QApplication.processEvents()
        time.sleep(0.002)


def key(window, which, modifiers=PLAIN):
    QTest.keyClick(window.view, which, modifiers)
    QApplication.processEvents()


def click(widget, at=None):
    QTest.mouseClick(widget, Qt.MouseButton.LeftButton, PLAIN, at or widget.rect().center())
    QApplication.processEvents()


def screen(window, widget=None):
    """What the screen shows of a widget, (h, w, 3); the X server is asked, not the widget."""
    wait(0.35)
    widget = widget or window
    corner = widget.mapToGlobal(QPoint(0, 0))
    taken = QGuiApplication.primaryScreen().grabWindow(0, corner.x(), corner.y(), widget.width(), widget.height())
    image = taken.toImage().convertToFormat(QImage.Format.Format_RGB888)
    raw = np.frombuffer(image.constBits(), dtype=np.uint8).reshape(image.height(), image.bytesPerLine())
    return raw[:, : 3 * image.width()].reshape(image.height(), image.width(), 3).copy()


def near(pixels, colour, within=14):
    return np.all(np.abs(pixels.astype(float) - np.array(palette.channels(colour)) * 255) < within, axis=-1)


def said(window):
    return window.layout_.message.text()


def test_the_screen_shows_the_scene_the_words_and_the_caution(window):
    view = screen(window, window.view)
    assert view.shape[0] > 250 and view.shape[1] > 700
    assert len(np.unique(view.reshape(-1, 3), axis=0)) > 200
    assert 0.02 < (~near(view, palette.ROOM, 3)).mean() < 0.9
    assert near(view, palette.SKY_BLUE, 60).sum() > 5  # the rider
    for label in (window.layout_.caption, window.layout_.caution):
        assert near(screen(window, label), palette.LIGHT, 90).sum() > 30
    assert "do not replace" in window.layout_.caution.text()
    assert window.layout_.caption.text() == "Rider goes to the rack"


def test_space_plays_and_pauses_and_the_picture_moves(window):
    window.session.set_speed(20)
    before, frames = screen(window, window.view), window.canvas.frames
    key(window, KEY.Key_Space)
    assert window.session.playing
    wait(1.0)
    key(window, KEY.Key_Space)
    assert not window.session.playing
    shown = window.session.time_s
    assert 8.0 < shown < 40.0 and window.canvas.frames - frames >= 5
    wait(0.3)
    assert window.session.time_s == shown
    assert (screen(window, window.view) != before).any(axis=-1).sum() > 200
    assert abs(window.layout_.controls.scrubber.value() / 1000 - shown) < 0.01


def test_the_play_button_does_the_same(window):
    play = window.layout_.controls.play
    click(play)
    assert window.session.playing and play.accessibleName() == "Pause"
    click(play)
    assert not window.session.playing and play.accessibleName() == "Play"


@pytest.mark.parametrize(
    ("which", "modifiers", "after"),
    [(KEY.Key_Right, PLAIN, 200 + 1 / 30), (KEY.Key_Left, PLAIN, 200 - 1 / 30), (KEY.Key_Right, SHIFT, 330.0),
     (KEY.Key_Left, SHIFT, 90.0), (KEY.Key_Home, PLAIN, 0.0), (KEY.Key_End, PLAIN, 540.0),
     (KEY.Key_PageDown, PLAIN, 230.0), (KEY.Key_PageUp, PLAIN, 170.0)],
)
def test_keys_of_time(window, which, modifiers, after):
    window.seek(200.0)
    key(window, which, modifiers)
    assert window.session.time_s == pytest.approx(after)
    truth = window.run.record.body_poses(after)[0][-1]
    assert np.allclose(window.scene.scene.body_pose(window.run.record.bodies[-1].name), truth, atol=1e-9)


def test_speed_by_keys_and_by_choice(window):
    QTest.keyClicks(window.view, "++-")
    assert window.session.speed == 2.0 and window.layout_.controls.speed.currentText() == "2 x"
    QTest.keyClicks(window.view, "0")
    assert window.session.speed == 1.0
    window.layout_.controls.speed.activated.emit(8)
    assert window.session.speed == 60.0


def test_clicks_on_scrubber_timeline_and_plot_go_there(window):
    parts = window.layout_
    click(parts.controls.scrubber)
    assert window.session.time_s == pytest.approx(270.0, abs=5.0)
    line = parts.timeline
    click(line, QPoint(round(line._x(400.0)), 8))
    assert window.session.time_s == pytest.approx(400.0, abs=1.0)
    view = parts.plots.plot.viewport()
    click(view, QPoint(view.width() // 2, view.height() // 2))
    there = window.session.time_s
    assert 150.0 < there < 350.0
    assert abs(parts.plots._cursor.geometry().center().x() - view.width() // 2) <= 2


def test_an_instant_can_be_typed(window):
    QTest.keyClicks(window.view, "g")
    wait(0.1)
    typed = window.layout_.controls.typed
    QTest.keyClicks(typed, "5:00")
    QTest.keyClick(typed, KEY.Key_Return)
    assert window.session.time_s == 300.0
    QTest.keyClicks(typed, "soon")
    QTest.keyClick(typed, KEY.Key_Return)
    assert said(window).startswith("That is no instant: not a quantity") and window.session.time_s == 300.0
    QTest.keyClick(typed, KEY.Key_Escape)
    assert typed.text() == ""


def test_the_tightest_moment_is_shown_with_its_line(window):
    QTest.keyClicks(window.view, "t")
    row = window.run.record.tightest
    assert window.session.time_s == row.time_s
    assert window.nearest.row is row
    assert "0.300 m required" in window.layout_.side.value.text() and "✕" in window.layout_.side.value.text()
    assert near(screen(window, window.view), look.FAIL_TEXT, 25).sum() > 60
    QTest.keyClicks(window.view, "l")
    assert near(screen(window, window.view), look.FAIL_TEXT, 25).sum() < 20
    QTest.keyClicks(window.view, "l")


def test_findings_jump_by_key_and_click(window):
    window.session.finding = None
    QTest.keyClicks(window.view, "n")
    findings, table = window.run.findings, window.layout_.findings.table
    assert window.session.time_s == findings[0].clearance.time_s
    assert table.currentRow() == 0 and findings[0].message in window.layout_.findings.detail.text()
    eye = window.scene.renderer.GetActiveCamera().GetPosition()
    click(table.viewport(), table.visualItemRect(table.item(window.layout_.findings._row_of(4), 1)).center())
    assert window.session.time_s == 60.0 and window.session.finding == 4
    QTest.keyClicks(window.view, "N")
    assert window.session.finding == 3
    assert window.scene.renderer.GetActiveCamera().GetPosition() != eye


def test_findings_are_filtered_by_verdict(window):
    group = window.layout_.findings.filters
    click(group.button(2))
    table = window.layout_.findings.table
    assert table.rowCount() == 1 and "no camera was asked for <b>here</b>" in table.item(0, 1).text()
    window.session.finding = None
    QTest.keyClicks(window.view, "n")  # the first finding is hidden by the filter, which gives way
    assert table.rowCount() == len(window.run.findings) + 1  # and the line that folds three passes of a check


def test_findings_of_one_cause_fold_away_and_open_for_the_chosen(window):
    findings, table = window.layout_.findings, window.layout_.findings.table
    head = next(row for row in range(table.rowCount()) if "clearance: 3" in table.item(row, 1).text())
    lines = table.rowCount()
    click(table.viewport(), table.visualItemRect(table.item(head, 1)).center())
    assert table.rowCount() == lines - 3 and findings._row_of(2) == -1
    window.session.to_finding(2)
    window.jump(window.session.findings[2])
    assert table.rowCount() == lines and table.currentRow() == findings._row_of(2) > head


def test_a_finding_keeps_its_own_verdict_where_its_gap_has_room(window):
    record = window.run.record
    row = next(row for row in record.pairs if row.status == "proven" and row.margin_m > 0.05)
    failing = Finding("budget", Verdict.FAIL, row.body_a, "uncertainty takes it all", other=row.body_b,
                      start_s=row.time_s, end_s=row.time_s, value=-0.01, limit=0.0, unit="m")
    window.seek(row.time_s)
    window.scene.show_finding(failing)
    window.scene.render()
    assert window.scene._value.GetInput() == "✕ -0.010 m (>= 0.000 m, budget)"
    assert near(screen(window, window.view), look.FAIL_TEXT, 25).sum() > 20
    assert finding_words(record, failing)[1].startswith("✕") and finding_words(record, failing)[3] == look.FAIL_TEXT


@pytest.mark.parametrize("name", [
    "show_margin", "show_shell", "show_rails", "show_sites", "show_frames", "show_other",
])
def test_things_are_shown_and_hidden_by_key_and_by_button(window, name):
    window.seek(300.0)
    letter = next(k.names[0] for k in KEYS if k.action == name)
    before, on = screen(window, window.view), window.on.get(name, False)
    QTest.keyClicks(window.view, letter)
    assert window.on[name] is not on and window.layout_.side.toggles[name].isChecked() is not on
    if name != "show_other":  # the second run is the first: a ghost in the same place changes next to nothing
        assert (screen(window, window.view) != before).any(axis=-1).sum() > 30
    click(window.layout_.side.toggles[name])
    assert window.on[name] is on


def test_the_distance_between_any_two_is_measured_now(window, run):
    from armcarry.views.measuring import measured

    window.seek(300.0)
    before = screen(window, window.view)
    QTest.keyClicks(window.view, "d")
    ruler = window.layout_.side.ruler
    assert ruler.isVisible()
    for combo, name in zip(ruler.ends, ("ev1", "platform"), strict=True):
        combo.setCurrentIndex(combo.findData(name))
    assert ruler.told.text() == measured(run.record, "ev1", "platform", 300.0).words
    assert near(screen(window, window.view), palette.SKY_BLUE, 25).sum() > near(before, palette.SKY_BLUE, 25).sum()
    window.seek(100.0)
    assert ruler.told.text() == measured(run.record, "ev1", "platform", 100.0).words
    QTest.keyClicks(window.view, "d")
    assert not ruler.isVisible()


def test_a_bookmark_keeps_instant_view_and_note_beside_the_run(window, run):
    from armcarry.views.bookmarks import read_bookmarks

    shelf = window.layout_.shelf
    window.seek(100.0)
    QTest.keyClicks(window.view, "B")
    assert shelf.note.hasFocus()
    QTest.keyClicks(shelf.note, "mind the <i>box</i>?")
    QTest.keyClick(shelf.note, KEY.Key_Return)
    assert not shelf.note.hasFocus() and said(window) == "kept: 0:01:40.0  mind the <i>box</i>?"
    window.seek(300.0)
    QTest.keyClicks(window.view, "e")
    QTest.keyClicks(window.view, "B")
    QTest.keyClick(shelf.note, KEY.Key_Return)
    kept = read_bookmarks(run.folder)
    assert [(mark.time_s, mark.view, mark.note) for mark in kept] == [
        (100.0, "free", "mind the <i>box</i>?"), (300.0, "ev1", ""),
    ]
    QTest.keyClicks(window.view, "f.")  # from the last round to the first
    assert window.session.time_s == 100.0 and window.scene.cameras.mode == "free"
    assert np.allclose(window.scene.cameras.camera.GetPosition(), kept[0].eye_m, atol=1e-3)
    QTest.keyClicks(window.view, ",")
    assert window.session.time_s == 300.0 and window.scene.cameras.title == "Eyes of ev1"
    for _ in kept:
        click(shelf.drop)
    assert read_bookmarks(run.folder) == () and not shelf.drop.isEnabled()
    QTest.keyClicks(window.view, ".")
    assert said(window) == "no bookmarks are kept of this run"


def test_findings_and_lanes_of_one_person_and_findings_of_one_check(window, run):
    from armcarry.views.folded import people_in

    findings, timeline = window.layout_.findings, window.layout_.timeline
    every = len(timeline.lanes.lanes)

    def shown():
        rows = (findings.table.item(row, 0).data(Qt.ItemDataRole.UserRole) for row in range(findings.table.rowCount()))
        return {k for k in rows if k >= 0}

    findings.shut.clear()
    findings.person.setCurrentIndex(findings.person.findData("ev1"))
    about = {k for k, finding in enumerate(run.findings) if "ev1" in people_in(run.record, finding)}
    assert shown() == about and 0 < len(about) < len(run.findings)
    assert [lane.name for lane in timeline.lanes.lanes] == ["ev1"] and every > 1
    findings.person.setCurrentIndex(0)
    assert len(timeline.lanes.lanes) == every
    check = run.findings[0].check
    findings.check.setCurrentIndex(findings.check.findData(check))
    assert shown() == {k for k, finding in enumerate(run.findings) if finding.check == check}
    other = next(k for k, finding in enumerate(run.findings) if finding.check != check)
    findings.choose(other)  # what is asked for is shown, whatever was filtered
    assert other in shown() and findings.check.currentIndex() == 0


def test_what_stands_still_can_pass_quickly(window):
    QTest.keyClicks(window.view, "q")
    assert window.session.skips and said(window) == "what stands still passes quickly"
    QTest.keyClicks(window.view, "q")
    assert not window.session.skips


def test_looking_through_eyes_and_cameras(window):
    cameras, combo = window.scene.cameras, window.layout_.controls.camera
    for letter, title in (("e", "Eyes of ev1"), ("c", "Mast camera"), ("a", "Along with the tip"), ("f", "Free orbit")):
        QTest.keyClicks(window.view, letter)
        assert cameras.title == combo.currentText() == title
        assert len(np.unique(screen(window, window.view).reshape(-1, 3), axis=0)) > 20
    combo.activated.emit(3)
    assert cameras.title == "Mast camera"


def test_the_mouse_turns_the_view_and_frees_it_from_an_eye(window):
    QTest.keyClicks(window.view, "c")
    camera = window.scene.renderer.GetActiveCamera()
    before = camera.GetPosition()
    middle = window.view.rect().center()
    QTest.mousePress(window.view, Qt.MouseButton.LeftButton, PLAIN, middle)
    for k in range(1, 6):
        QTest.mouseMove(window.view, middle + QPoint(12 * k, 4 * k))
        wait(0.03)
    QTest.mouseRelease(window.view, Qt.MouseButton.LeftButton, PLAIN, middle + QPoint(60, 20))
    wait(0.1)
    assert window.scene.cameras.mode == "free" and camera.GetPosition() != before
    eye, focus = np.array(camera.GetPosition()), np.array(camera.GetFocalPoint())
    QTest.mousePress(window.view, Qt.MouseButton.RightButton, PLAIN, middle)
    move = QMouseEvent(QEvent.Type.MouseMove, QPointF(middle + QPoint(40, 0)), QPointF(middle), Qt.MouseButton.NoButton,
                       Qt.MouseButton.RightButton, PLAIN)
    QApplication.sendEvent(window.view, move)
    QTest.mouseRelease(window.view, Qt.MouseButton.RightButton, PLAIN, middle)
    shift = np.array(camera.GetPosition()) - eye
    assert np.linalg.norm(shift) > 0.05 and np.allclose(np.array(camera.GetFocalPoint()) - focus, shift)
    far = camera.GetDistance()
    wheel = QWheelEvent(QPointF(middle), QPointF(middle), QPoint(), QPoint(0, 240), Qt.MouseButton.NoButton, PLAIN,
                        Qt.ScrollPhase.NoScrollPhase, False)
    QApplication.sendEvent(window.view, wheel)
    assert camera.GetDistance() == pytest.approx(far / 1.12**2)


def test_orbit_and_zoom_by_key(window):
    camera = window.scene.renderer.GetActiveCamera()
    far = camera.GetDistance()
    key(window, KEY.Key_Left, CONTROL)
    key(window, KEY.Key_Up, CONTROL)
    assert camera.GetDistance() == pytest.approx(far)
    key(window, KEY.Key_Plus, CONTROL)
    assert camera.GetDistance() == pytest.approx(far / 1.12)
    key(window, KEY.Key_Minus, CONTROL)
    assert camera.GetDistance() == pytest.approx(far)


def test_the_tables_move_with_time(window):
    plots = window.layout_.plots
    QTest.keyClicks(window.view, "j")
    assert plots.tab == "Joints"
    first = [plots.table.item(row, 1).text() for row in range(7)]
    window.seek(300.0)
    assert [plots.table.item(row, 1).text() for row in range(7)] != first
    QTest.keyClicks(window.view, "]]")
    assert plots.table.currentRow() == 2
    QTest.keyClicks(window.view, "j")
    assert plots.tab == "Rates" and near(screen(window, plots.plot), look.LINES[0], 30).sum() > 100
    QTest.keyClicks(window.view, "j")
    assert plots.tab == "Clearance"


def test_help_fills_the_window_with_every_key(window):
    QTest.keyClicks(window.view, "?")
    page = window.layout_.pages.currentWidget()
    words = "\n".join(label.text() for label in page.findChildren(QLabel))
    offered = [k for k in KEYS if LAYER_OF.get(k.action, "shell") in window.scene.makers]
    assert len(offered) > 40 and all(k.words in words and k.shown in words for k in offered)
    assert near(screen(window), palette.LIGHT, 60).sum() > 3000
    assert not cut(page)
    key(window, KEY.Key_Escape)
    assert not window.layout_.helping and window.layout_.pages.currentIndex() == 0


def test_briefing_fills_the_screen_with_large_captions(window):
    window.seek(100.0)
    QTest.keyClicks(window.view, "b")
    wait(0.5)
    room = QGuiApplication.primaryScreen().geometry()
    parts = window.layout_
    assert (window.width(), window.height()) == (room.width(), room.height())
    assert parts.caption.text() == "Round the yard to bay 6"
    assert parts.caption.fontMetrics().height() > 0.045 * room.height()
    assert "0:01:40.0" in parts.figures.text() and "m required" in parts.figures.text()
    hidden = (parts.side, parts.plots, parts.timeline, parts.controls, parts.header)
    assert not any(part.isVisible() for part in hidden) and parts.caution.isVisible()
    assert window.view.height() > 0.7 * room.height() and not cut(window)
    assert near(screen(window, parts.caption), look.CAPTION, 60).sum() > 1500
    key(window, KEY.Key_Space)
    wait(0.3)
    assert window.session.time_s > 100.1
    key(window, KEY.Key_Space)
    key(window, KEY.Key_Escape)
    wait(0.3)
    assert (window.width(), window.height()) == (1280, 720) and parts.side.isVisible()


def test_panels_give_way_to_the_view(window):
    small = window.view.width() * window.view.height()
    QTest.keyClicks(window.view, "p")
    wait(0.2)
    assert window.view.width() == 1280 and window.view.width() * window.view.height() > 1.8 * small


def cut(widget):
    """Return visible buttons and single lines of text that are narrower than their words, and labels cut below."""
    found = []
    for part in [*widget.findChildren(QLabel), *widget.findChildren(QAbstractButton)]:
        if not part.isVisible() or not part.text() or part.objectName() == "title":
            continue
        if isinstance(part, QLabel) and part.wordWrap():
            if part.heightForWidth(part.width()) > part.height() + 1:
                found.append((part.objectName(), part.text()))
        elif part.sizeHint().width() > part.width() + 1 or part.sizeHint().height() > part.height() + 2:
            found.append((part.objectName(), part.text(), part.sizeHint(), part.size()))
    return found


def test_no_words_are_cut_at_1280_by_720(window):
    assert (window.width(), window.height()) == (1280, 720)
    window.act("show_margin")
    wait(0.2)
    assert cut(window) == []


def test_everything_has_a_name_for_those_who_cannot_see_it(window):
    parts = window.layout_.controls
    for widget in [*parts.findChildren(QAbstractButton), *parts.findChildren(QLineEdit), parts.scrubber, parts.speed]:
        assert widget.accessibleName() or widget.text()


def test_pictures_and_movies_of_the_view(window, run):
    window.seek(535.0)
    key(window, KEY.Key_S, CONTROL)
    assert said(window).startswith("picture: ") and (run.folder / "picture_0-08-55.png").stat().st_size > 5000
    window.session.set_speed(10)
    key(window, KEY.Key_M, CONTROL)
    assert said(window) == f"movie: {run.folder / 'movie_0-08-55_0-09-00.mp4'}"
    assert (run.folder / "movie_0-08-55_0-09-00.mp4").stat().st_size > 5000


def test_a_movie_is_stopped_by_escape(window, run):
    from PySide6.QtCore import QTimer

    window.seek(0.0)
    QTimer.singleShot(300, lambda: QTest.keyClick(window.view, KEY.Key_Escape))
    key(window, KEY.Key_M, CONTROL)
    assert said(window) == "movie stopped; nothing was kept"
    assert not list(run.folder.glob("movie_0-00-00*")) and not list(run.folder.glob(".movie*"))


def test_what_goes_wrong_is_said_and_does_not_end_the_window(window, run, monkeypatch):
    blocked = run.folder / "a_file"
    blocked.write_text("")
    monkeypatch.setattr(window, "run", replace(run, folder=blocked))
    key(window, KEY.Key_S, CONTROL)
    assert said(window).startswith("save a picture of this view: ")
    monkeypatch.setitem(window.actions_, "gap", lambda: 1 / 0)
    QTest.keyClicks(window.view, "z")
    assert said(window) == "look at the closest pair as it is now failed: ZeroDivisionError: division by zero"


def test_every_action_works_in_a_run_with_nothing_in_it(window, small_run, tmp_path):
    from armcarry.views.player.window import Window

    record, _ = small_run
    bare = replace(record, moves=(), events=(), pairs=(), curves=())
    other = Window(OpenedRun(bare, (), Path("bare"), tmp_path, "bare"))
    other.resize(800, 500)
    other.show()
    wait(0.3)
    for action in other.actions_:
        if action not in ("quit", "movie", "full_screen", "briefing"):
            other.act(action)
            assert " failed: " not in said(other), action
    messages = {}
    for action in ("tightest", "finding_on", "gap", "show_other", "day"):
        other.act(action)
        messages[action] = said(other)
    assert messages == {
        "tightest": "no clearance was measured in this run", "finding_on": "this run has no findings",
        "gap": "no pair with a rule is near at this instant",
        "show_other": "no second run was opened; type: armcarry play RUN --over OTHER",
        "day": run_lanes(other.run.record).title,  # was gone on by one above
    }
    assert "farther than 3 m" in other.layout_.side.value.text()
    other.act("quit")
    assert not other.isVisible()


_MODIFIERS = {"Ctrl": CONTROL, "Shift": SHIFT}


def press(window, name):
    """Press what a key of the table is called: ``n``, ``?``, ``Space``, ``Shift+Left``, ``Ctrl++``."""
    head, _, last = name.rpartition("+") if len(name) > 1 and not name.endswith("++") else name.rpartition("++")
    last = last or "+"
    if not head and len(last) == 1:
        QTest.keyClicks(window.view, last)
        return
    named = {"+": KEY.Key_Plus, "=": KEY.Key_Equal, "-": KEY.Key_Minus}
    key(window, named.get(last) or getattr(KEY, f"Key_{last}"), _MODIFIERS.get(head, PLAIN))


def test_every_key_reaches_its_action(window, monkeypatch):
    done = []
    recorders = {action: lambda action=action: done.append(action) for action in window.actions_}
    monkeypatch.setattr(window, "actions_", recorders)
    for one in KEYS:
        for name in one.names:
            press(window, name)
            assert done == [one.action], name
            done.clear()
    assert {one.action for one in KEYS} == set(recorders)


def test_keys_of_views_windows_and_lines_do_what_the_help_says(window):
    cameras, camera = window.scene.cameras, window.scene.renderer.GetActiveCamera()
    QTest.keyClicks(window.view, "c")
    first = cameras.title
    QTest.keyClicks(window.view, "cC")
    assert cameras.title == first
    QTest.keyClicks(window.view, "fv")
    start, far = camera.GetPosition(), camera.GetDistance()
    for name in ("Ctrl+Right", "Ctrl+Down"):
        before = camera.GetPosition()
        press(window, name)
        assert camera.GetPosition() != before and camera.GetDistance() == pytest.approx(far)
    QTest.keyClicks(window.view, "v")
    assert np.allclose(camera.GetPosition(), start)
    window.seek(300.0)
    QTest.keyClicks(window.view, "z")
    middle = (np.asarray(window.nearest.point_a) + np.asarray(window.nearest.point_b)) / 2
    assert np.allclose(camera.GetFocalPoint(), middle, atol=1e-6)
    QTest.keyClicks(window.view, "j")
    row, rows = window.layout_.plots.table.currentRow(), window.layout_.plots.table.rowCount()
    QTest.keyClicks(window.view, "]][")
    assert window.layout_.plots.table.currentRow() == (row + 1) % rows
    QTest.keyClicks(window.view, "[")
    assert window.layout_.plots.table.currentRow() == row
    QTest.keyClicks(window.view, "jj")
    record = window.run.record
    for lanes in (hands_lanes(record), run_lanes(record)):  # round both, and back where it was
        QTest.keyClicks(window.view, "y")
        assert said(window) == lanes.title and window.layout_.timeline.lanes.title == lanes.title
    press(window, "F1")
    assert window.layout_.helping
    press(window, "Escape")
    press(window, "F11")
    wait(0.3)
    assert window.isFullScreen()
    press(window, "Escape")
    wait(0.3)
    assert not window.isFullScreen()
    window.resize(1280, 720)
    wait(0.3)


def test_the_names_of_groups_stay_apart_in_the_table(window):
    from PySide6.QtCore import Qt as Core

    table = window.layout_.plots.table
    metrics, wide = table.fontMetrics(), table.columnWidth(0) - 8
    names = ["hardware to structure, relaxed to 0 m", "hardware to structure, relaxed to 0.2 m"]
    shown = [metrics.elidedText(name, table.textElideMode(), wide) for name in names]
    assert len(set(shown)) == 2 and not table.wordWrap() and table.textElideMode() == Core.TextElideMode.ElideMiddle


def test_keys_reach_nothing_of_the_view_toolkit(window):
    before = window.scene.renderer.GetActors().GetLastActor().GetProperty().GetRepresentation()
    QTest.keyClicks(window.view, "qdu3")
    wait(0.1)
    assert window.isVisible()
    assert window.scene.renderer.GetActors().GetLastActor().GetProperty().GetRepresentation() == before


@pytest.mark.skipif(sys.version_info >= (3, 12), reason="None is immortal there")
def test_frames_lose_no_reference_to_none(window):
    window.session.set_speed(5)
    before, frames = sys.getrefcount(None), window.canvas.frames
    window.play()
    while window.canvas.frames - frames < 120:
        wait(0.05)
    window.play()
    assert sys.getrefcount(None) > before - 300
