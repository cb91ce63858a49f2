"""Plots of stranding, cameras, light and people near the arm: written, readable, and of the right numbers."""

from pathlib import Path

import numpy as np
import pytest

from armcarry.checks import light, near_people, seen, stranded
from armcarry.geometry import poses
from armcarry.motion.curve import Motion
from armcarry.record.figures import of_finding
from armcarry.record.record import MoveSpan, Record
from armcarry.timeline.run import Phase
from armcarry.views import whatif_plots
from armcarry.views.whatifs import WHAT_IFS, write_plots

HERE = [item for item in WHAT_IFS if item.plot.__module__ == whatif_plots.__name__]
FIGURES = [whatif_plots.stranded, whatif_plots.cameras, whatif_plots.light, whatif_plots.near_people]
ENVIRONMENT = {
    "start": "2031-03-20T19:41:00Z",
    "orbit": {"altitude": "410 km", "inclination": "50 deg", "node": "0 deg", "argument": "70 deg"},
}
EYE = {"horizontal_view": "60 deg", "vertical_view": "40 deg", "pan": ["-170 deg", "170 deg"]}


@pytest.fixture
def run(rider_scene):
    """A rider who is turned past a worker, watched by a camera, with a handrail and a hatch."""
    scene = rider_scene({})
    boots = scene.tree.pose_of("ev1/boots", scene.position)[:3, 3]
    frames = {
        "a": poses.translation(np.add(boots, (0.5, 0.5, 0.0))),
        "b": poses.translation(np.add(boots, (-3.0, 0.5, 0.0))),
        "hatch": poses.translation(np.add(boots, (-3.0, 0.5, 0.3))),
        "spot": poses.translation(np.add(boots, (0.3, 1.0, 0.6))),
        "eye": poses.translation(np.add(boots, (-5.0, 2.0, 0.0))),
    }
    platform = {"handrails": {"rail": {"start": "a", "end": "b"}}, "airlock": "hatch",
                "cameras": {"eye": {"frame": "eye", **EYE}}}
    nothing = dict.fromkeys(("leave_restraint", "stow_held", "cross_gap", "go_in"), "0 s")
    rules = {"tether_reach": "1 m", "way_home": nothing}
    scene = rider_scene({}, frames=frames, platform=platform, worker_at="platform/spot", rules=rules,
                        script={"environment": ENVIRONMENT})
    table = np.zeros((1, 2, len(scene.position)))
    table[0, 0] = scene.position
    table[0, 1, scene.tree.column("arm/j1")] = 0.01
    moves = (MoveSpan("round", 1, "swing", "to_joints", 0.0, 120.0, "rider"),)
    motion = Motion(scene.tree.joints, np.array([0.0, 120.0]), table)
    return Record(scene, (Phase(0.0, 120.0, scene.tree),), motion, moves)


@pytest.fixture
def bare(rider_scene):
    """A run in which nothing of that can be assessed."""
    scene = rider_scene({})
    motion = Motion.hold(scene.tree.joints, scene.position, 0.0, 10.0)
    return Record(scene, (Phase(0.0, 10.0, scene.tree),), motion, ())


def _findings(record):
    return [finding for check in (stranded, seen, light, near_people) for finding in check.check(record)]


def test_a_plot_with_nothing_in_it_is_not_written(run, bare, tmp_path):
    full = list(write_plots(HERE, run, _findings(run), tmp_path / "full"))
    assert full == ["stranded", "seen", "light", "near_people"]
    empty = list(write_plots(HERE, bare, (), tmp_path / "bare"))
    assert "light" not in empty and "near_people" not in empty
    assert sorted(path.stem for path in (tmp_path / "bare").iterdir()) == sorted(empty)


def _titles(figure):
    return [axes.get_title(loc="left") for axes in figure.axes if axes.get_title(loc="left")]


def test_plots_are_written_into_a_new_folder(run, tmp_path):
    paths = write_plots(HERE, run, iter(_findings(run)), tmp_path / "plots").values()
    assert [path.name for path in paths] == ["stranded.png", "seen.png", "light.png", "near_people.png"]
    assert all(Path(path).read_bytes().startswith(b"\x89PNG") for path in paths)


@pytest.mark.parametrize("make", FIGURES)
def test_no_text_is_cut(make, run):
    figure = make(run, _findings(run))
    figure.canvas.draw()
    renderer, sheet = figure.canvas.get_renderer(), figure.bbox
    texts = [axes._left_title for axes in figure.axes] + [axes.xaxis.label for axes in figure.axes] + figure.texts
    texts += [label for axes in figure.axes for label in axes.get_yticklabels() if label.get_text()]
    boxes = [text.get_window_extent(renderer) for text in texts if text.get_text().strip() and text.get_visible()]
    assert len(boxes) >= 3
    for box in boxes:
        assert sheet.x0 <= box.x0 and box.x1 <= sheet.x1 and sheet.y0 <= box.y0 and box.y1 <= sheet.y1


def test_the_way_home_stands_against_its_limits(run):
    (curve,) = stranded.stranded_curve(run)
    figure = whatif_plots.stranded(run, _findings(run))
    time, gap, other, both = figure.axes
    assert [axes.get_title(loc="left").split(",")[0] for axes in (other, both)] == [
        "ev2: time until inside", "until all are inside",
    ]
    assert time.lines[0].get_ydata() == pytest.approx(curve.return_time_s / 60)
    assert gap.lines[0].get_ydata() == pytest.approx(curve.gap_m)
    assert any(np.allclose(line.get_ydata(), 1.0) for line in gap.lines if len(line.get_ydata()) == 2)
    told = next(f for f in _findings(run) if (f.check, f.subject, f.other) == ("stranded", "ev1", "airlock"))
    assert _titles(figure)[0].startswith(f"ev1: time to the hatch, {of_finding(told).said} at 0:")
    assert _titles(figure)[0].endswith("✓")
    assert _titles(figure)[1].endswith("m at most  " + ("✓" if curve.gap_m.max() <= 1 else "✕"))


def test_cameras_have_a_row_each(run):
    figure = whatif_plots.cameras(run, _findings(run))
    assert [label.get_text() for label in figure.axes[0].get_yticklabels()] == ["eye"]
    assert [title.split("  ")[0] for title in _titles(figure)] == ["arm tip", "ev1"]


def test_light_has_a_row_for_day_visors_and_cameras(run):
    figure = whatif_plots.light(run, _findings(run))
    rows = [label.get_text() for label in figure.axes[0].get_yticklabels()]
    assert [row.split("  ")[0] for row in rows] == [
        "day and night", "visor of ev1", "visor of ev2", "cameras on arm tip", "cameras on ev1",
    ]


def test_a_worker_too_near_is_filled(run):
    figure = whatif_plots.near_people(run, _findings(run))
    (axes,) = figure.axes
    assert _titles(figure) == ["ev2  ✕"]
    assert len(axes.collections) == 1  # the filled part
    assert axes.lines[0].get_ydata().max() <= 3.0


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (whatif_plots.stranded, "No rider is aboard in this run, or the platform has no hatch or handrails"),
        (whatif_plots.cameras, "No camera"),
        (
            whatif_plots.light,
            "The scenario does not say when it is and how the platform flies, so light is not assessed",
        ),
        (whatif_plots.near_people, "Nobody works outside the restraint while the arm moves"),
    ],
)
def test_where_there_is_nothing_to_plot_that_is_said(make, words, bare):
    said = [text.get_text() for axes in make(bare, _findings(bare)).axes for text in axes.texts]
    assert words in said
