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

