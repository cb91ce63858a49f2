"""Subtitles follow the clock of what is shown, never overlap, and are as WebVTT wants them."""

import itertools
import re

import pytest

from armcarry.procedure.spoken import Cue
from armcarry.views.cuts import Cut
from armcarry.views.subtitles import LEAST_S, LINES, of_movie, on_the_clock, write_vtt


def cue(number, start_s, end_s, head):
    return Cue(number, start_s, end_s, head, (head,), ())


CUES = (cue("1", 0, 100, "ev1: ride"), cue("2", 40, 60, "ev2: look"), cue("3", 41, 42, "ev3: blink"),
        cue("4", 100, 100, "ev1: take <it> & go"), cue("5", 100, 200, "ev1: back"))


def test_on_the_clock_everything_under_way_is_told():
    found = on_the_clock(CUES, 0.0, 200.0)
    assert [(each.start_s, each.end_s) for each in found] == [(0, 40), (40, 100), (100, 200)]
    assert found[0].words == "ev1: ride" and found[1].words == "ev1: ride\nev2: look (and 1 more)"
    assert found[2].words == "ev1: back\nev1: take <it> & go"


@pytest.mark.parametrize("speed", [1.0, 20.0, 100.0])
def test_subtitles_of_a_movie_run_on_its_own_clock(speed):
    cuts = (Cut(50.0, 150.0, speed), Cut(0.0, 40.0, 10.0))
    found = of_movie(CUES, cuts)
    length_s = 100.0 / speed + 4.0
    assert found[0].start_s == 0.0 and found[-1].end_s == pytest.approx(length_s)
    assert all(a.end_s <= b.start_s + 1e-9 for a, b in itertools.pairwise(found))
    assert all(each.end_s - each.start_s >= min(LEAST_S, 100.0 / speed) - 1e-9 for each in found)
    assert all(each.words.count("\n") < LINES for each in found)
    at_middle = next(each for each in found if each.start_s <= 45.0 / speed < each.end_s)
    assert "ev1: ride" in at_middle.words
    assert found[-1].words == "ev1: ride"


def test_the_file_is_webvtt(tmp_path):
    text = write_vtt(on_the_clock(CUES, 0.0, 4000.0), tmp_path / "a.vtt").read_text(encoding="utf-8")
    blocks = text.strip().split("\n\n")
    assert blocks[0] == "WEBVTT"
    for number, block in enumerate(blocks[1:], start=1):
        first, times, *words = block.split("\n")
        assert first == str(number) and words and "<" not in block and "-->" not in "".join(words)
        assert re.fullmatch(r"\d\d:\d\d:\d\d\.\d{3} --> \d\d:\d\d:\d\d\.\d{3}", times)
    assert "take &lt;it&gt; &amp; go" in text and blocks[-1].split("\n")[1].endswith("--> 01:06:40.000")


def test_no_cue_is_no_subtitle(tmp_path):
    assert on_the_clock((), 0.0, 10.0) == () and of_movie((), (Cut(0.0, 10.0, 1.0),)) == ()
    assert write_vtt((), tmp_path / "b.vtt").read_text() == "WEBVTT\n"
