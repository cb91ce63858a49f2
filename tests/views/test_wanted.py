"""Pictures that a scenario asks for: what is highlighted is named, with its fasteners, at the step that was asked."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.errors import FrameError
from armcarry.files.documents.pictures import PictureWanted
from armcarry.views import gl
from armcarry.views.daylight import Level
from armcarry.views.stage import Stage
from armcarry.views.wanted import instant_of, wanted_stills


def asking(record, *pictures):
    """Return a record whose scenario asks for pictures."""
    loaded = record.scene.loaded
    script = loaded.scenario.model_copy(update={"pictures": [PictureWanted(**each) for each in pictures]})
    return replace(record, scene=replace(record.scene, loaded=replace(loaded, scenario=script)))


def test_a_picture_is_taken_when_it_was_asked(short_run, day_record):
    record, _ = short_run
    up = next(move for move in record.moves if move.name == "up")
    one = {"name": "a", "highlight": ["ev1"]}
    assert instant_of(record, PictureWanted(**one)) == 0.0
    assert instant_of(record, PictureWanted(**one, step="up")) == up.start_s
    assert up.start_s < instant_of(record, PictureWanted(**one, step="up", when="end")) < up.end_s
    slot = day_record.plan.schedule.slot("take")
    assert instant_of(day_record, PictureWanted(**one, step="take")) == slot.start_s
    with pytest.raises(FrameError, match="step done in this run"):
        instant_of(day_record, PictureWanted(**one, step="look"))


def test_stills_name_hardware_its_fasteners_its_seat_and_the_worksite(day_record):
    if gl.problem() is not None:
        pytest.skip("no OpenGL here")
    record = asking(
        day_record,
        {"name": "box", "title": "The box", "highlight": ["pump_box", "rack_a_seat", "rack_a"], "step": "loosen"},
        {"name": "seen", "highlight": ["pump_box", "platform/rack_a_locker"], "seen_from": "ev1", "around": True},
    )
    with Stage(record, (480, 300), Level.PLAIN) as stage:
        box, seen = wanted_stills(record, stage)
        assert list(stage.scene.unmark()) == []  # nothing is left marked on a stage that others draw on
    assert box.name == "wanted_box" and box.title == "The box"
    for words in ("pump box", "cover, open", "bolts (4)", "rack A seat", "bolts left", "rack A"):
        assert words in box.words, words
    assert "rack A locker" in seen.words and seen.words.startswith("pump box, platform/rack A locker"[:8])
    for still in (box, seen):
        assert still.pixels.shape == (300, 480, 3) and np.ptp(still.pixels) > 100
