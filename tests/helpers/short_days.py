"""A short day with own words, flown but neither proven nor judged: the fixture ``day_record``."""

from pathlib import Path

from armcarry.files.load import load_scenario
from armcarry.record.record import Record
from armcarry.scene.build import build_scene
from armcarry.timeline.day_run import run_day

SHORT_DAY = Path(__file__).parents[1] / "timeline" / "short_day.yaml"
#: step or move -> own words added to it
OWN = {
    "{name: loosen, actors: [ev1], at: rack_a, bolt: {what: pump_box, count: 4,":
        '{name: loosen, say: "ev1, four bolts", note: the left one turns hard, caution: "Hot.\\nSharp edges.", '
        "see: four green rings, if_not: back off one turn, actors: [ev1], at: rack_a, "
        "bolt: {what: pump_box, count: 4, torque: 40 N*m, turns: 6,",
    "by: [-0.9 m, 0 m, 0 m]}, rate: 0.5}": "by: [-0.9 m, 0 m, 0 m]}, rate: 0.5, name: pull, say: Straight out, "
                                           "see: the hinge stays clear, if_not: stop and go in again}",
}  # fmt: skip


def short_day(folder, changes=OWN):
    """Write the short day with some text changed and return the path."""
    text = SHORT_DAY.read_text(encoding="utf-8")
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "short_day.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def flown(path):
    """Return the record of a day's motion, nothing proven."""
    scene = build_scene(load_scenario(path))
    run = run_day(scene)
    return Record(scene, run.phases, run.motion, run.moves, run.events, run.relaxed, run.shortfalls, kept=run.ledger)

#: two workers for an hour, with a plain step each that may be moved
HOUR = """\
format: armcarry scenario 1
title: an hour of two
purpose: to be changed
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
crew:
  ev1: {posture: carry, at: inside}
  ev2: {posture: carry, at: inside}
hardware:
  thermal_blanket: {model: thermal_blanket, at: platform/rack_b_seat}
day:
  ends: outside
  cut_off: "0:40"
  steps:
    - {name: open, actors: [ev2], hatch: {make: open}, takes: 0 s}
    - {name: to_rack_b, actors: [ev2], translate: {from: airlock, to: rack_b}, takes: 20 min}
    - {name: fetch, actors: [ev2], at: rack_b, take: {what: thermal_blanket}, takes: 2 min}
    - {actors: [ev2], inspect: the rack, takes: 5 min}  # stays as it is
    - {name: count, actors: [ev1], inspect: tools, takes: 10 min, takes_by: {ev1: 8 min}}
    - {name: look, actors: [ev1], inspect: seals, takes: 5 min, after: [open]}
    - {name: note_down, actors: [ev1], note: numbers, takes: 1 min, after: [look]}
"""
