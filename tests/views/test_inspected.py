"""The picture of what was understood of a file: everything in it stands clear of the words."""

import numpy as np
import pytest
from PIL import Image

from armcarry.files.import_model import inspect_file
from armcarry.views import gl
from armcarry.views.annotate import Sheet
from armcarry.views.inspected import SIZE, draw

#: links one upon the other, so that the lowest is at the lower edge of whatever is drawn
_LINK = (
    '<link name="l{0}"><collision><origin xyz="0 0 0.5"/><geometry><box size="0.6 0.6 1"/></geometry></collision>'
    "</link>"
)
_JOINT = (
    '<joint name="j{0}" type="revolute"><parent link="l{0}"/><child link="l{1}"/><origin xyz="0 0 1"/>'
    '<axis xyz="0 0 1"/><limit lower="-1" upper="1" effort="1" velocity="1"/></joint>'
)


def test_the_base_is_not_hidden_behind_the_caption(tmp_path, monkeypatch):
    if gl.problem() is not None:
        pytest.skip("no OpenGL here")
    monkeypatch.setenv("ARMCARRY_CACHE", str(tmp_path / "cache"))
    said, real = [], Sheet.caption
    monkeypatch.setattr(Sheet, "caption", lambda sheet, lines: said.extend(lines) or real(sheet, lines))
    path = tmp_path / "tower.urdf"
    parts = [_LINK.format(k) for k in range(6)] + [_JOINT.format(k, k + 1) for k in range(5)]
    path.write_text(f'<robot name="tower">{"".join(parts)}</robot>')
    seen = inspect_file(path, root=None, unit="m", tolerance_m=0.01, most_triangles=10_000, modified=False)
    picture = np.asarray(Image.open(draw(seen, tmp_path / "tower.png"))).astype(int)
    assert picture.shape == (SIZE[1], SIZE[0], 3)
    assert said[0].startswith("No meshes")  # so nothing sticks out of any
    red, green, blue = np.moveaxis(picture, 2, 0)
    base = (red > 1.2 * green) & (green > 2 * blue) & (red > 60)  # the colour of the first link, and of the last
    for half in (base[:, : SIZE[0] // 2], base[:, SIZE[0] // 2 :]):
        rows = np.flatnonzero(half.any(axis=1))
        first, last = rows[0], rows[-1]
        assert half[last - 30 : last].sum() > 600  # the lowest link, whole, not the edge of it above a caption
        assert first > 60 and last < SIZE[1] - 90
