"""The window in which a script is changed, under real key and mouse events. Run in a child process, off screen."""

import os
from functools import partial, partialmethod

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QComboBox, QPushButton, QTabWidget

from armcarry.editing import Session
from armcarry.files.starts import write_bare
from armcarry.record.finding import Finding, Verdict
from long_carry import short_carry
from short_days import HOUR

OUT = (0, 6)


@pytest.fixture(scope="module")
def _opened(tmp_path_factory):
    from armcarry.views.editing.window import open_window

    home = tmp_path_factory.mktemp("short")
    path = home / "short.yaml"
    path.write_text(short_carry().replace("radiator_port: stowed", "radiator_port: deployed"), encoding="utf-8")
    window = open_window(Session(path, journal=home / "kept"))
    window.resize(1360, 800)
    QApplication.processEvents()
    yield window
    window.close()


@pytest.fixture
def window(_opened):
    """One window that all share; each test finds it as it was opened, with the file as it was."""
    yield _opened
    _opened.end_volume()
    while _opened.session.script.done:
        _opened.undo()
    _opened.session.save(over=True)
    _opened.panel.findChild(QTabWidget).setCurrentIndex(0)
    _opened._told_others = False
    _opened.choose(OUT)
    _opened.select()


@pytest.fixture(scope="module")
def hour(tmp_path_factory):
    from armcarry.views.editing.window import open_window

    path = tmp_path_factory.mktemp("hour") / "hour.yaml"
    path.write_text(HOUR, encoding="utf-8")
    window = open_window(Session(path, at_once=1))
    window.resize(1360, 800)
    QApplication.processEvents()
    yield window
    window.close()


def rows(window):
    return [window.moves.item(k).text().split() for k in range(window.moves.count())]


def test_a_waypoint_is_moved_by_keys_handle_numbers_and_sliders_and_all_is_undone(window):
    session, panel, view = window.session, window.panel, window.canvas.widget
    assert [row[1] for row in rows(window)][3:] == ["take", "pull_out", "clear_of_rack", "out"]
    window.choose(OUT)
    window.select()
    assert panel.fields["y"].text() == "-0.7 m"

    QTest.keyClick(view, Qt.Key.Key_Up)
    assert panel.fields["y"].text() == "-0.69 m"
    assert "answered in" in window.message.text()
    assert "1 of 7 moves planned anew" in window.message.text()

    tips = window._handle.tips()
    along = (tips[0] - tips[3]) / np.linalg.norm(tips[0] - tips[3])
    grip = QPoint(*tips[0].round().astype(int).tolist())
    QTest.mousePress(view, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, grip)
    QTest.mouseMove(view, grip + QPoint(*(30 * along).round().astype(int).tolist()))
    assert window.message.text().startswith("along x by +")
    QTest.mouseRelease(view, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, grip)
    assert -2.1 < session.waypoint(OUT)[0, 3] < -1.0
    assert session.waypoint(OUT)[1, 3] == pytest.approx(-0.69, abs=1e-6)

    field = panel.fields["z"]
    field.setFocus()
    field.selectAll()
    QTest.keyClicks(field, "1 ft")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert session.waypoint(OUT)[2, 3] == pytest.approx(0.3048, abs=1e-4)
    field.selectAll()
    QTest.keyClicks(field, "up")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert "up" in window.message.text(), "why it cannot be is said"
    assert field.text() == "0.3048 m", "and the field says what is"

    slider = panel.sliders["wrist_turn"]
    slider.setValue(slider.value() - 40)
    slider.sliderReleased.emit()
    assert session.kind(OUT) == "to_joints"

    while session.script.done:
        QTest.keyClick(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert panel.fields["y"].text() == "-0.7 m"
    assert not session.changed


def test_moves_are_cut_added_and_taken_away(window):
    window.choose(OUT)
    window.on_move(window.session.split)
    assert len(rows(window)) == 8
    window.on_move(lambda at: window.session.add(at, {"hold": "10 s"}))
    window.on_move(window.session.remove)
    window.redo()
    assert len(rows(window)) == 8
    window.panel.findChild(QTabWidget).setCurrentIndex(1)
    QApplication.processEvents()
    assert window.panel.sliders["elbow_bend"].isVisible()


def test_a_volume_to_fly_in_is_tried_drawn_and_its_best_point_taken(window, monkeypatch):
    monkeypatch.setattr(window.session, "sampled", partial(window.session.sampled, step_m=0.3))
    window.choose(OUT)
    window.select()
    window.take_best()
    assert "V tries some" in window.message.text()
    QTest.keyClick(window, Qt.Key.Key_V)
    while window._trying is not None:
        QApplication.processEvents()
    assert len(window.volume.verdicts) == 7
    assert len(window.scene._volume) == 2, "the region and its best point"
    assert "of 7 positions pass" in window.message.text()
    look_at(window, "volume")
    best = window.volume.points_m[window.volume.best]
    QTest.keyClick(window, Qt.Key.Key_B)
    assert window.session.waypoint(OUT)[:3, 3] == pytest.approx(best, abs=1e-3)
    assert window.volume is None and not window.scene._volume


def test_pins_branches_and_what_stands_where_are_changed_on_their_pages(window):
    session, way, start = window.session, window.panel.way, window.panel.start
    window.choose(OUT)
    window.select()
    way.joint.setCurrentText("shoulder_swing")
    button(way, "Hold the joint").click()
    assert list(session.move(OUT)["pin"]) == ["shoulder_swing"]
    assert way.pins.count() == 1
    button(way, "Let go").click()
    assert "pin" not in session.move(OUT)
    button(way, "Round the joint's value").click()
    assert "'out' has no via points" in window.message.text()
    button(way, "Look for others").click()
    assert way.branches.placeholderText() == "only a free move may end on another"
    window.do(lambda: session.set_joints(OUT, {}))
    way.value.setText("20 deg")
    button(way, "Round the joint's value").click()
    assert session.move(OUT)["via"] == [{"shoulder_swing": "20 deg"}]
    button(way, "Take away").click()
    assert "via" not in session.move(OUT)
    button(way, "Look for others").click()
    assert way.branches.count() > 0
    look_at(window, "way", tab=2)
    before = session.joints(session.end_s(OUT))
    button(way, "Take it").click()
    now = session.joints(session.end_s(OUT))
    assert max(abs(now[name] - before[name]) for name in now) > np.radians(20.0)

    start.station.selectAll()
    QTest.keyClicks(start.station, "11.2 m")
    QTest.keyClick(start.station, Qt.Key.Key_Return)
    assert session.stands["station"] == pytest.approx(11.2)
    start.station.selectAll()
    QTest.keyClicks(start.station, "far")
    QTest.keyClick(start.station, Qt.Key.Key_Return)
    assert "far" in window.message.text(), "why it cannot be is said"
    assert start.station.text() == "11.2 m", "and the field says what is"
    pitch = start.fields["pitch"]
    pitch.setCurrentText("75 deg")
    pitch.activated.emit(pitch.currentIndex())
    assert session.stands["settings"]["pitch"] == pytest.approx(np.radians(75.0))
    box = start.states["radiator_port"]
    box.setCurrentText("stowed")
    box.activated.emit(box.currentIndex())
    assert session.script.data["appendages"]["radiator_port"] == "stowed"
    look_at(window, "start", tab=3)


def button(page, words):
    return next(one for one in page.findChildren(QPushButton) if one.text() == words)


def look_at(window, name, tab=None):
    """Keep a picture of the window where somebody wants to look at it."""
    if tab is not None:
        window.panel.findChild(QTabWidget).setCurrentIndex(tab)
    QApplication.processEvents()
    if folder := os.environ.get("ARMCARRY_PICTURES"):
        window.grab().save(f"{folder}/{name}.png")


def test_a_finding_is_gone_to_and_mended_from_its_menu(window):
    session, panel = window.session, window.panel
    sheet = "platform/radiator_port_sheet_1_1"
    found = Finding("clearance", Verdict.FAIL, "arm/boom_far_tube", "too near", sheet, 480.0)
    object.__setattr__(session.answer, "failing", (found,))
    panel.show_answer()
    assert panel.mend.isEnabled()
    window.take_there()
    assert window.message.text().startswith("0:08:00.0: too near")
    menu = window.mend_menu()
    named = {action.text(): action for action in menu.actions()}
    named["radiator_port stowed"].trigger()
    assert session.script.data["appendages"]["radiator_port"] == "stowed"
    window.undo()
    assert session.script.data["appendages"]["radiator_port"] == "deployed"


def test_what_others_changed_is_noticed_and_the_difference_is_shown_before_it_is_saved(window, monkeypatch):
    from armcarry.views.editing import window as module

    session, asked = window.session, []

    class Asked(module.Difference):
        def exec(self):
            asked.append((self.text.toPlainText(), self.others, self.save.text()))
            return True

    monkeypatch.setattr(module, "Difference", Asked)
    window.save()
    assert "nothing to save" in window.message.text()
    window.choose(OUT)
    QTest.keyClick(window.canvas.widget, Qt.Key.Key_PageUp)
    session.path.write_text(session.path.read_text().replace("Pump box from", "Pump case from"))
    window.look()
    assert "changed by others meanwhile" in window.message.text()
    window.save()
    ((shown, others, button),) = asked
    assert others
    assert button == "Write over it"
    assert "+        " not in shown or "0.31 m" in shown
    assert "-title: Pump case from" in shown
    assert "0.31 m" in session.path.read_text()
    assert "as saved" in window.state.text()


def dragged(window, name, actor, by_px, lane):
    """Drag the bar of a step by pixels along the clock, into a lane."""
    grip = window.day.where(name, actor).center().toPoint()
    there = QPoint(grip.x() + by_px, round(window.day.where(name, actor).center().y() if lane == actor else
                                           window.day.where("open", lane).center().y()))  # fmt: skip
    QTest.mousePress(window.day, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, grip)
    QTest.mouseMove(window.day, there)
    QApplication.processEvents()
    QTest.mouseRelease(window.day, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, there)


def test_a_step_of_the_day_is_dragged_along_the_clock_and_to_the_other_worker(hour):
    session = hour.session
    first = session.answer
    dragged(hour, "count", "ev1", 0, "ev1")
    assert hour.message.text() == "0:00:00.0", "a bar that is only clicked is gone to"
    assert session.answer is first
    dragged(hour, "look", "ev1", 300, "ev1")
    assert 600 < session.step("look").start_s < 1500
    assert "stretches proven anew" in hour.message.text()
    dragged(hour, "count", "ev1", 1150, "ev2")
    assert session.step("count").actors == ("ev2",)
    assert session.step("count").start_s == pytest.approx(27 * 60.0)
    dragged(hour, "count", "ev2", 300, "ev2")
    assert "cut_off" in {one.other for one in session.answer.failing}, "the day ends too late then"
    assert "day" in hour.day._failing
    look_at(hour, "day")
    dragged(hour, "to_rack_b", "ev2", 100, "ev2")
    assert "behind follow" in hour.message.text()
    while session.answer.left:
        hour.go_on()
    assert "all proven after" in hour.message.text()
    while session.script.done:
        QTest.keyClick(hour, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert session.answer.steps == first.steps


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    from armcarry.views.editing.window import open_window

    path = tmp_path_factory.mktemp("bare") / "mine.yaml"
    write_bare(path, {})
    window = open_window(Session(path, at_once=1))
    window.resize(1360, 800)
    QApplication.processEvents()
    yield window
    window.close()


def test_from_nothing_people_items_and_a_restraint_are_placed_and_what_is_to_be_brought_is_asked(bare, monkeypatch):
    from armcarry.views.editing import flying, placing

    session, shown = bare.session, []

    def taken(dialog, **chosen):
        for name, value in chosen.items():
            dialog.boxes[name].setCurrentText(value)
        dialog.show()
        QApplication.processEvents()
        shown.append(dialog)
        if folder := os.environ.get("ARMCARRY_PICTURES"):
            dialog.grab().save(f"{folder}/{dialog.windowTitle().replace(' ', '_').lower()}.png")
        clipped = [box for box in dialog.findChildren(QComboBox) if box.width() < box.minimumSizeHint().width()]
        dialog.hide()
        assert not clipped
        return True

    def place(words, **chosen):
        monkeypatch.setattr(placing.Choose, "exec", partialmethod(taken, **chosen))
        button(bare.panel.start, words).click()

    bare.bring()
    assert "no item to bring" in bare.message.text()
    assert not bare.panel.start.fields
    place("Restraint …")
    assert session.script.data["restraint"] == {"model": "foot_restraint", "at": "arm"}
    assert "pitch" in bare.panel.start.fields, "the page has its settings now"
    place("Person …")
    assert session.script.data["crew"]["ev1"] == {"body": "suited", "size": "medium", "posture": "carry", "at": "arm"}
    place("Person …", At="inside", Name="ev2")
    assert list(session.script.data["crew"]) == ["ev1", "ev2"]
    place("Item …", Model="pump_box", At="platform/rack_a_seat")
    assert session.script.data["hardware"] == {"pump_box": {"model": "pump_box", "at": "platform/rack_a_seat"}}
    place("Item …", Model="pump_box", Name="box", At="platform/no_seat")
    assert "no_seat" in bare.message.text(), "why it cannot be is said"

    asked = []
    monkeypatch.setattr(session, "bring", lambda *said: asked.append(said))
    monkeypatch.setattr(flying.Bring, "exec", lambda dialog: bool(dialog.to.count()))
    bare.bring()
    assert asked == [("pump_box", "rack_a")]
    look_at(bare, "bare", tab=3)
