from dataclasses import replace

import numpy as np
import pytest

from armcarry.views import plots
from armcarry.views.time_axis import SLIDE_IN, time_axis

FIGURES = [plots.joint_angles, plots.joint_rate_figure, plots.clearance]


def panels_with_title(figure):
    return [axes for axes in figure.axes if axes.get_title(loc="left")]


def line_at(axes, level):
    """Is there a level line in the panel?"""
    return any(np.allclose(line.get_ydata(), level) for line in axes.lines if len(line.get_ydata()) == 2)


@pytest.mark.parametrize("make", FIGURES)
def test_no_text_is_cut_or_hidden(make, small_run):
    figure = make(small_run[0], cursor_s=100.0)
    figure.canvas.draw()
    renderer, page = figure.canvas.get_renderer(), figure.bbox
    boxes = [(axes.title if not axes.get_title(loc="left") else axes._left_title) for axes in figure.axes]
    boxes += [axes.xaxis.label for axes in figure.axes] + [axes.yaxis.label for axes in figure.axes] + figure.texts
    extents = [text.get_window_extent(renderer) for text in boxes if text.get_text().strip() and text.get_visible()]
    assert len(extents) >= 6
    for box in extents:
        assert page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1
    titles = [axes._left_title.get_window_extent(renderer) for axes in panels_with_title(figure)]
    for axes in panels_with_title(figure):
        plot = axes.get_window_extent(renderer)
        assert not any(plot.shrunk(0.99, 0.95).overlaps(title) for title in titles)


def test_joint_angles_stand_in_degrees_between_their_limits(small_run):
    record, _ = small_run
    figure = plots.joint_angles(record)
    panels = panels_with_title(figure)
    assert len(panels) == 7
    yaw = panels[0]
    assert line_at(yaw, 270) and line_at(yaw, -270)
    drawn = yaw.lines[0]
    assert drawn.get_ydata()[0] == pytest.approx(160) and drawn.get_ydata()[-1] == pytest.approx(-4)
    assert drawn.get_xdata()[-1] == pytest.approx(9.0)  # minutes: 540 s
    # at 172 deg the joint is nearest to an end, 98 deg from it
    assert yaw.get_title(loc="left") == "shoulder yaw: margin 98 deg (≥ 10)"


def test_rates_stand_against_the_limit_of_the_load(small_run):
    record, _ = small_run
    edges, limits = plots.rate_limits(record)
    assert edges[0] == 0 and edges[-1] == record.duration_s
    assert np.allclose(np.degrees(limits), 2.0)
    panel = panels_with_title(plots.joint_rate_figure(record))[0]
    # a rest-to-rest cubic peaks at 1.5 of its mean rate: 1.5 * 112 deg / 240 s
    assert np.min(panel.lines[0].get_ydata()) == pytest.approx(-0.7, abs=1e-3)
    assert "largest 0.7 deg/s" in panel.get_title(loc="left")


def test_clearance_shows_each_group_with_its_required_line_and_where_it_falls_short(small_run):
    record, _ = small_run
    panels = panels_with_title(plots.clearance(record))
    assert [p.get_title(loc="left").split(":")[0] for p in panels] == [
        "hardware to structure",
        "rider to structure",
        "arm to structure",
    ]
    hardware = next(c for c in record.curves if c.group.startswith("hardware"))
    assert line_at(panels[0], 0.3) and "✕ under 0.300 m" in panels[0].get_title(loc="left")
    assert "✓ at least 0.500 m" in panels[1].get_title(loc="left")
    bar = panels[0].lines[-1 - len(record.moves)].get_ydata()
    assert np.array_equal(np.isfinite(bar[:-1]), hardware.lower_m < 0.3)


def test_a_run_without_clearances_says_so(small_run):
    figure = plots.clearance(replace(small_run[0], curves=()))
    assert "No pair of bodies" in figure.axes[0].texts[0].get_text()


def test_a_picture_is_written_and_is_the_same_each_time(small_run, tmp_path):
    one = plots.save(plots.clearance(small_run[0]), tmp_path / "one.png").read_bytes()
    two = plots.save(plots.clearance(small_run[0]), tmp_path / "two.png").read_bytes()
    assert one == two
    assert len(one) < 300_000


def test_times_are_told_as_findings_tell_them(small_run):
    record, _ = small_run
    from matplotlib.figure import Figure

    def ticks(start_s, end_s):
        axes = Figure(figsize=SLIDE_IN).subplots()
        time_axis(axes, record, True, ((start_s, end_s), None))
        shown = [label.get_text() for label in axes.get_xticklabels()]
        low, high = axes.get_xlim()
        return axes.get_xlabel(), [w for w, at in zip(shown, axes.get_xticks(), strict=True) if low <= at <= high]

    assert ticks(0.0, 3500.0)[1][:3] == ["0:00:00", "0:05:00", "0:10:00"]
    assert ticks(0.0, 21594.0)[1] == [f"{k // 2}:{30 * (k % 2):02d}:00" for k in range(12)]
    words, shown = ticks(9775.0, 9799.0)
    assert words == "hours:minutes:seconds from the start"
    assert shown[0] == "2:42:56" and shown[-1] == "2:43:18"


def test_nothing_global_is_left_behind(small_run):
    import matplotlib

    before = dict(matplotlib.rcParams)
    plots.clearance(small_run[0])
    assert dict(matplotlib.rcParams) == before


def test_a_window_shows_that_part_alone(small_run):
    record, _ = small_run
    yaw = panels_with_title(plots.joint_angles(record, window_s=(90.0, 330.0)))[0]
    assert yaw.get_xlim() == pytest.approx((1.5, 5.5))
    assert yaw.get_title(loc="left") == "shoulder yaw: margin 98 deg (≥ 10)"
    later = panels_with_title(plots.joint_angles(record, window_s=(330.0, 540.0)))[0]
    assert later.get_title(loc="left") == "shoulder yaw: margin 210 deg (≥ 10)"
    calm = panels_with_title(plots.clearance(record, window_s=(100.0, 200.0)))
    assert "✓ at least 0.300 m" in next(p for p in calm if p.get_title(loc="left").startswith("hardware")).get_title(
        loc="left"
    )


def test_a_plot_tells_the_number_and_the_instant_of_the_table_of_pairs(small_run):
    record, _ = small_run
    curve = replace(record.curves[0], group="arm to structure", required_m=0.5)
    row = replace(
        record.pairs[0], class_a="structure", class_b="arm", required_m=0.5, lower_m=0.6496, upper_m=0.65, time_s=61.5,
        status="proven",
    )
    farther = replace(row, lower_m=0.9, upper_m=0.9, time_s=10.0)
    changed = replace(record, curves=(curve,), pairs=(farther, row))
    assert changed.least_of(curve) is row
    (panel,) = panels_with_title(plots.clearance(changed))
    assert panel.get_title(loc="left") == "arm to structure: 0.649 m at 0:01:01.5   ✓ at least 0.500 m"
    assert changed.least_of(replace(curve, required_m=0.4)) is None
