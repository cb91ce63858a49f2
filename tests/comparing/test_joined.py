"""An outing begins as the one before it ended, or what stands otherwise is told with the reason given for it."""

from dataclasses import replace

from armcarry.comparing.joined import differences
from armcarry.motion.curve import Motion


def told(first, second, why=None):
    return {(each.what, each.left, each.begins): each.why for each in differences(first, second, why)}


def at_end(record):
    """Return a run that begins as another ends: the same joints, and the page that it leaves."""
    motion = record.motion
    still = Motion.hold(motion.joints, motion.at(motion.end_s), 0.0, 10.0)
    page = record.ledger.end
    return replace(record, motion=still, kept=replace(record.ledger, start=page, acts=(), after=()))


def test_nothing_stands_otherwise_where_it_goes_on(short_run, day_record):
    for record in (short_run[0], day_record):
        assert differences(record, at_end(record)) == ()


def test_what_stands_otherwise_is_told_with_its_reason(short_run):
    record, _ = short_run
    found = told(record, record, {"pump_box": "brought back"})
    assert found["solar_wing", "level", "edge on"] == ""
    boxes = [key for key in found if key[0] == "pump_box"]
    assert boxes and all(found[key] == "brought back" for key in boxes)
    assert boxes[0][2] == "held by ev1"
    assert any(key[0] == "arm" and key[1].endswith(" deg") for key in found)


def test_fasteners_bolts_carts_base_and_people_count(day_record):
    found = told(day_record, day_record)
    names = {key[0] for key in found}
    assert ("cart_1", "at 16.60 m", "at 16.20 m") in found and ("base", "at 10.00 m", "at 11.00 m") in found
    assert {"ev1", "ev2", "thermal_blanket"} <= names
    assert ("thermal_blanket", "in den top seat", "in rack B seat") in found
    after = at_end(day_record)
    state = replace(after.ledger.start.states["pump_box"], bolts_tight=2, fasteners=(("cover", "open"),))
    page = replace(after.ledger.start, states={**after.ledger.start.states, "pump_box": state})
    other = replace(after, kept=replace(after.ledger, start=page))
    assert told(day_record, other) == {
        ("pump_box", "cover closed", "cover open"): "", ("pump_box", "4 bolts tight", "2 bolts tight"): ""}


def test_somebody_who_stays_inside_may_be_missing_and_things_may_not(day_record):
    after = at_end(day_record)
    page = after.ledger.start
    without = {name: item for name, item in page.states.items() if name != "rail_cart_2"}
    people = {"ev1": page.people["ev1"]}
    inside = replace(page.people["ev2"], place="airlock", restraint="")
    home = replace(day_record, kept=replace(day_record.ledger, after=(
        *day_record.ledger.after[:-1], replace(page, people={**page.people, "ev2": inside}))))
    other = replace(after, kept=replace(after.ledger, start=replace(page, states=without, people=people)))
    assert told(home, other) == {("rail_cart_2", "in cart 2 seat", "not there"): ""}
    assert ("ev2", "on the arm", "not there") in told(day_record, other)
