import numpy as np

from armcarry.views import palette
from armcarry.views.inset import Inset
from armcarry.views.looks import PEOPLE


def test_the_map_shows_people_where_they_are_in_their_hue(small_run):
    record, _ = small_run
    made = Inset(record, 300)
    hue = np.array([round(255 * part) for part in palette.channels(PEOPLE[0])])
    rows = [k for k, body in enumerate(record.bodies) if body.name.startswith("ev1/")]
    spots = []
    for time_s in (0.0, 500.0):
        picture = made.at(time_s)
        place = record.body_poses(time_s)[0, rows, :2, 3].mean(axis=0)
        x, y = made._px(place)
        seen = np.argwhere(np.abs(picture.astype(int) - hue).max(axis=2) < 12)
        assert np.allclose(seen.mean(axis=0), (y, x), atol=2.5)
        spots.append(seen.mean(axis=0))
    # the rider is carried along the yard: to the right of the map is along x
    moved = record.body_poses([0.0, 500.0])[:, rows, 0, 3].mean(axis=1)
    assert np.sign(spots[1][1] - spots[0][1]) == np.sign(moved[1] - moved[0])


def test_the_platform_stands_on_the_map(small_run):
    picture = Inset(small_run[0], 300).at(0.0).astype(int)
    ground = np.array([round(255 * part) for part in palette.channels(palette.PANEL)])
    assert 0.1 < (np.abs(picture - ground).max(axis=2) > 40).mean() < 0.9
    assert picture.shape[1] == 300
