import subprocess
import sys

import pytest

from armcarry.views import palette
from armcarry.views.player import look
from armcarry.views.player.keys import ACTION_OF, GROUPS, HEADINGS, KEY_OF, KEYS, tip
from armcarry.views.player.swept import MAP_BANDS_M


@pytest.mark.parametrize(("words", "front", "back", "least"), look.WRITTEN)
def test_everything_written_has_its_contrast(words, front, back, least):
    assert palette.contrast(front, back) >= least, words


def test_lines_show_on_the_panel_and_the_style_uses_no_other_colour():
    for colour in (*look.LINES, look.GHOST, *(colour for _, colour, _ in look.BANDS_M), look.REST):
        assert palette.contrast(colour, palette.PANEL) >= 3.0
    known = {palette.PANEL, palette.ROOM, palette.LIGHT, palette.FAINT_LIGHT, look.EDGE, look.CHOSEN, "#343D48"}
    style = look.style_sheet()
    used = {word.strip(" ;,")[:7] for word in style.replace("#", " #").split() if word.startswith("#") and
            all(c in "0123456789ABCDEF" for c in word[1:7]) and len(word) >= 7}
    assert used <= known


def test_bands_grow_and_their_colours_differ_in_brightness_as_well():
    limits = [limit for limit, _, _ in look.BANDS_M]
    assert limits == sorted(limits)
    assert [look.band(m) for m in (-1.0, 0.0, 0.099, 0.2, 0.4, 0.6)] == [0, 1, 1, 2, 3, 4]
    assert look.band_colour(4) == look.REST
    light = [palette.luminance(colour) for _, colour, _ in look.BANDS_M[:3]]
    assert light == sorted(light) and light[0] < 0.6 * light[1] < light[1] < 0.7 * light[2]


def test_text_in_tips_stays_text():
    assert look.tip_text("<b>x</b> & y\nz") == "<qt>&lt;b&gt;x&lt;/b&gt; &amp; y<br>z</qt>"


def test_captions_of_a_briefing_grow_with_the_screen():
    assert "font-size: 54px" in look.briefing_sheet(1080)
    assert "font-size: 24px" in look.briefing_sheet(300)


def test_every_key_means_one_thing_and_every_action_has_one():
    names = [name for key in KEYS for name in key.names]
    assert len(set(names)) == len(names)
    assert len({key.action for key in KEYS}) == len(KEYS) == len(KEY_OF)
    assert set(HEADINGS) == set(GROUPS) == {key.group for key in KEYS}
    assert ACTION_OF["?"] == ACTION_OF["F1"] == "help"
    wanted = {"toggle", "frame_on", "frame_back", "move_on", "move_back", "faster", "slower", "tightest", "finding_on",
              "free", "eyes", "camera_on", "follow", "show_closest", "show_margin", "show_rails", "show_sites",
              "show_frames", "show_shell", "show_other", "briefing", "picture", "movie", "help", "type_time"}
    assert wanted <= set(KEY_OF)


def test_keys_are_shown_as_people_read_them():
    assert KEY_OF["move_on"].shown == "Shift →"
    assert KEY_OF["finding_back"].shown == "Shift n"
    assert KEY_OF["nearer"].shown == "Ctrl + or Ctrl ="
    assert KEY_OF["faster"].shown == "+ or ="
    assert tip("tightest") == "tightest moment of the run  (t)"


def test_importing_the_player_loads_no_window():
    heavy = ("PySide6", "vtkmodules", "pyqtgraph", "pyvista")
    code = f"import sys, armcarry.views.player; print([m for m in {heavy} if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "[]"


def test_near_on_the_approach_map_does_not_look_like_a_verdict():
    verdicts = {colour for colour, _ in palette.VERDICTS.values()}
    colours = [colour for _, colour in MAP_BANDS_M]
    assert not verdicts & set(colours)
    # the nearer, the brighter: the order is seen without telling hues apart
    brightness = [palette.luminance(colour) for colour in colours]
    assert brightness == sorted(brightness, reverse=True)
