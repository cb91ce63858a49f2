"""The script says of every task who does what, why it matters, and own words as they stand."""

from armcarry.procedure.spoken import script
from armcarry.procedure.tasks import procedure


def test_every_task_is_told_once_with_its_time_and_who_is_looked_at(day_record):
    told = procedure(day_record)
    cues = script(day_record, told, {("close_in", 1): "a – b, 0.4 m"}, {"3": "bow eye"})
    leaves = [leaf for task in told.tasks for leaf in (task.moves or (task,))]
    assert sorted(cue.number for cue in cues) == sorted(leaf.number for leaf in leaves)
    assert [cue.start_s for cue in cues] == sorted(cue.start_s for cue in cues)
    by = {cue.number: cue for cue in cues}
    names = {task.name: by[task.number] for task in told.tasks if not task.moves}
    loosen = names["loosen"]
    assert loosen.words[0] == "Ev1, four bolts." and "Hot." in loosen.words
    assert "Until the last one is out it stays where it is." in loosen.words
    assert loosen.highlight == ("ev1", "pump_box") and loosen.words[-1] == "It takes 4 minutes."
    ride = names["fly_in"]
    assert "Closest on the way: a – b, 0.4 m." in ride.words and ride.highlight == ("ev1", "arm")
    assert any(words.startswith("ev1 goes ") for words in ride.words)
    assert by["3"].seen_from == "bow eye" and "" in {cue.seen_from for cue in cues}
    assert "Where: " in names["loosen"].text
