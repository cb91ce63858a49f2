"""The picture of the day: every step is on it, and its letters can be read."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace

import pytest
from matplotlib.patches import Rectangle

from armcarry.files.documents.day import Day
from armcarry.files.documents.vary import Window
from armcarry.timeline.drawn import Drawn
from armcarry.timeline.schedule import schedule, slipped
from armcarry.timeline.task import Duration, Limit, limits_of, tasks_of
from armcarry.views.gantt import LOOKS, day_chart, summary_line
from armcarry.views.palette import contrast


def step(name, who, kind, detail, minutes, **more):
    takes = {"least": f"{0.8 * minutes} min", "likely": f"{minutes} min", "most": f"{1.6 * minutes} min"}
    title = name.replace("_", " ")
    return {"name": name, "title": title, "actors": who.split("+"), kind: detail, "takes": takes, **more}


DAY = Day.model_validate({
    "start": "7:30", "cut_off": "3:00", "consumables": {"oxygen": {"lasts": "4 h", "actors": ["ev1"]}},
    "steps": [
        step("go_out", "ev1+ev2", "note", "x", 20), step("ride_to_bay_7", "arm+ev1", "carry", "c", 25),
        step("bolts_tight", "ev1", "note", "y", 30), step("help_along", "ev2", "translate", {"to": "bay_7"}, 10),
        step("hold_the_box", "ev2", "steady", {"what": "box"}, 5, after=["ride_to_bay_7"]),
        step("climb_out", "ev1", "leave_restraint", {}, 10),
        step("look_over_every_handrail_there_is", "ev2", "inspect", "z", 15, as_time_permits={}),
        step("pictures", "ev1", "inspect", "z", 120, as_time_permits={"priority": 2}),
        step("go_in", "ev1+ev2", "note", "x", 20),
    ],
})


AIR = Limit("air of ev1", 3 * 3600.0, ("ev1",), drawn=Drawn("air", "ev1", 0.0, 0.5, 1.0))


@dataclass
class Plan:
    """What the picture needs of a plan."""

    slip: dict = field(default_factory=dict)
    tanks: tuple = ()
    failed: tuple = ()

    def __post_init__(self):
        self.day, self.limits = DAY, (*limits_of(DAY), *self.tanks)
        self.tasks = slipped(tasks_of(DAY, {"x": Duration.exactly(1.0)}), self.slip)
        self.schedule = schedule(self.tasks, self.limits)
        self.scene = SimpleNamespace(
            loaded=SimpleNamespace(crew={"ev1": 1, "ev2": 2},
                                   scenario=SimpleNamespace(title="A day", day=DAY, environment=None))
        )

    def step(self, name):
        return next(one for one in DAY.steps if one.name == name)


@pytest.fixture(scope="module")
def chart():
    plan = Plan()
    figure = day_chart(plan)
    figure.canvas.draw()
    return plan, figure, figure.axes[0]


def test_windows_and_tanks_stand_below_the_lanes_over_the_same_time(monkeypatch):
    windows = {"relay": [Window(start="0:30", end="1:30")]}
    monkeypatch.setitem(globals(), "DAY", DAY.model_copy(update={"windows": windows}))
    plan = Plan(tanks=(AIR,))
    lanes, rows, tanks = day_chart(plan).axes[0], *day_chart(plan).axes[-2:]
    assert rows.get_xlim() == tanks.get_xlim() == lanes.get_xlim()
    assert lanes.get_position().y0 >= rows.get_position().y1 - 1e-9 > tanks.get_position().y1
    assert [label.get_text() for label in rows.get_yticklabels()] == ["relay"]
    (box,) = rows.collections[0].get_paths()
    assert (box.vertices[:, 0].min(), box.vertices[:, 0].max()) == (0.5, 1.5)
    (curve,) = (line for line in tanks.lines if line.get_gid() == "tank air of ev1")
    end_h = max(slot.end_s for slot in plan.schedule.of("ev1")) / 3600
    assert (curve.get_xdata()[0], curve.get_ydata()[0]) == (0.0, 3.0)
    assert (curve.get_xdata()[-1], curve.get_ydata()[-1]) == pytest.approx((end_h, 3.0 - 0.5 * end_h))


def bars(axes):
    return [patch for patch in axes.patches if isinstance(patch, Rectangle) and patch.get_gid()]


def test_every_step_is_a_bar_in_the_lane_of_each_actor(chart):
    plan, _, axes = chart
    lanes = [label.get_text() for label in axes.get_yticklabels()]
    assert lanes == ["arm", "ev1", "ev2"]
    drawn = {(bar.get_gid(), lanes[int(bar.get_y())]): (bar.get_x(), bar.get_width()) for bar in bars(axes)}
    expected = {
        (slot.name, actor): (slot.start_s / 3600, (slot.end_s - slot.start_s) / 3600)
        for slot in plan.schedule.slots
        for actor in slot.actors
    }
    assert drawn.keys() == expected.keys()
    assert all(drawn[key] == pytest.approx(expected[key]) for key in expected)


def test_kinds_and_choice_are_told_without_colour(chart):
    _, _, axes = chart
    marks = {bar.get_gid(): (bar.get_hatch(), bar.get_linestyle()) for bar in bars(axes)}
    assert len({look.hatch for key, look in LOOKS.items() if key != "other"}) == 4
    assert marks["ride_to_bay_7"][0] == "///"
    assert marks["help_along"][0] == "..."
    assert marks["climb_out"][0] == "xx"
    assert marks["look_over_every_handrail_there_is"][1] in ("--", "dashed")
    assert all(contrast(look.fill, "#000000") > 7 for look in LOOKS.values())


def test_letters_are_large_and_stay_in_their_bar(chart):
    _, figure, axes = chart
    renderer = figure.canvas.get_renderer()
    boxes = {}
    for bar in bars(axes):
        boxes.setdefault(bar.get_gid(), []).append(bar.get_window_extent(renderer))
    labelled = [text for text in axes.texts if text.get_gid()]
    assert {text.get_gid() for text in labelled} >= {"go_out", "ride_to_bay_7", "bolts_tight", "go_in"}
    for text in labelled:
        extent = text.get_window_extent(renderer)
        assert any(
            extent.x0 >= box.x0 - 4 and extent.x1 <= box.x1 + 4 and extent.y0 >= box.y0 - 4 and extent.y1 <= box.y1 + 4
            for box in boxes[text.get_gid()]
        ), text.get_text()
    assert min(text.get_fontsize() for text in [*axes.texts, *axes.get_xticklabels()]) >= 11


def test_words_say_end_margin_chance_and_what_is_left_out(chart):
    plan, figure, _ = chart
    line = summary_line(plan)
    assert "ends at 1:45:00.0" in line
    assert "1:15:00.0 before cut off" in line
    assert "in time 100% of days" in line
    assert "left out: pictures" in line
    assert line in [text.get_text() for text in figure.texts]
    late = summary_line(Plan(slip={"bolts_tight": 6000.0}))
    assert "✕ 0:25:00.0 after cut off" in late
    assert "slip: bolts_tight +1:40:00" in late


def test_no_time_on_the_axis_is_cut_by_the_edge(chart):
    _, figure, axes = chart
    shown = [
        label for place, label in zip(axes.get_xticks(), axes.get_xticklabels(), strict=True)
        if 0 <= place <= axes.get_xlim()[1]
    ]
    assert len(shown) > 2 and all(label.get_window_extent().x1 <= figure.bbox.width for label in shown)
