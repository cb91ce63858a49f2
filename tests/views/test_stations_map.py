import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image

from armcarry.planning.stations import StationMap, Stay
from armcarry.planning.trial import Base, Reached
from armcarry.views.stations_map import SIGNS, write_stations_map


def made(count):
    """A map of three worksites from so many stations; every fifth is out of reach."""
    bases = tuple(Base("trolley", float(k)) for k in range(count))
    reached = tuple(
        tuple(
            Reached(k % 5 != w, 0.2, 0.5, "" if k % 5 != w else "too far", "" if k % 5 != w else "reach")
            for k in range(count)
        )
        for w in range(3)
    )
    return StationMap(("bay_1", "bay_2", "bay_3"), bases, reached, (Stay(bases[-1], ("bay_2",)),), ())


@pytest.mark.parametrize(("count", "strips"), [(4, 1), (26, 1), (27, 2), (70, 3)])
def test_many_stations_go_on_in_strips_that_a_page_holds(tmp_path, monkeypatch, count, strips):
    drawn = []
    real = Figure.savefig
    monkeypatch.setattr(Figure, "savefig", lambda figure, *given, **more: drawn.append(figure) or real(
        figure, *given, **more))
    path = write_stations_map(made(count), tmp_path / "map.png")
    with Image.open(path) as image:
        wide, high = image.size
    # 70 stations in one row were six times as wide as high
    assert wide < 4 * high and wide <= 1500
    *axes, scale = drawn[0].axes  # the last is the scale of colours
    assert scale.get_ylim() == pytest.approx((0.0, 0.2))  # as far as the most that is found
    assert len(axes) == strips
    labels = [label for each in axes for label in each.get_xticklabels()]
    assert len(labels) == count and min(label.get_fontsize() for label in labels) >= 11
    assert sum(text.get_text() == SIGNS["reach"] for each in axes for text in each.texts) == sum(
        k % 5 == w for k in range(count) for w in range(3)
    )
    (mark,) = [line for each in axes for line in each.lines]
    assert np.isclose(mark.get_xdata()[0], (count - 1) % -(-count // strips))


@pytest.mark.parametrize("kind", ["reach", "joints", "singular", "clearance", "way in"])
def test_whatever_stands_against_a_place_has_its_sign(tmp_path, kind):
    bases = (Base("trolley", 1.0),)
    found = StationMap(("bay_1",), bases, ((Reached(False, 0.0, 0.0, "why", kind),),), (), ("bay_1",))
    assert write_stations_map(found, tmp_path / "map.png").stat().st_size > 5000
