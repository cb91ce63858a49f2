"""What findings come from: a step or move that they name, what made two bodies fail first, else what was under way."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from armcarry.record.causes import causes, with_causes, worst_s
from armcarry.record.finding import Cause, ClearanceDetail, Finding, Verdict
from armcarry.record.record import MoveSpan

OUT, BACK = Cause("move", "out"), Cause("move", "back")


def _record(slots=None, steps=(), shortfalls=(), broken=(), held=()):
    moves = tuple(
        MoveSpan("round", k, name, "to_joints", start, start + 40.0, "rider")
        for k, (name, start) in enumerate((("out", 0.0), ("back", 50.0)))
    )
    plan = None
    if slots is not None:
        made = tuple(SimpleNamespace(name=name, actors=actors, start_s=start) for name, actors, start in slots)
        plan = SimpleNamespace(schedule=SimpleNamespace(slots=made, tasks_done=lambda: steps))
    loaded = SimpleNamespace(written_at=lambda kind, *name: "")
    scene = SimpleNamespace(loaded=loaded)
    on_tethers = {"rail", "ev3"}
    states = {item: SimpleNamespace(hands={who} - on_tethers, tethers={who} & on_tethers) for item, who in held}
    ledger = SimpleNamespace(violations=broken, at=lambda time_s: SimpleNamespace(states=states))
    return SimpleNamespace(scene=scene, plan=plan, moves=moves, shortfalls=shortfalls, duration_s=100.0, ledger=ledger)


def _gap(time_s, subject="arm/a", other="platform/b", start_s=0.0, end_s=100.0, verdict=Verdict.FAIL):
    detail = ClearanceDetail(0.1, 0.101, 0.3, time_s, (0.0,) * 3, (0.0,) * 3)
    return Finding("own", verdict, subject, "words", other, start_s, end_s, 0.1, 0.3, "m", "mend it", detail)


def _plain(subject="x", other="", start_s=0.0, end_s=0.0, verdict=Verdict.FAIL):
    return Finding("own", verdict, subject, "words", other, start_s, end_s)


def _causes(record, *findings):
    return [item.cause for item in with_causes(record, findings)]


def test_the_instant_of_a_finding_is_where_its_gap_is_least_else_where_it_begins():
    assert worst_s(_gap(60.0, start_s=10.0)) == 60.0
    assert worst_s(_plain(start_s=10.0, end_s=20.0)) == 10.0


@pytest.mark.parametrize(("time_s", "cause"), [
    (0.0, OUT), (30.0, OUT), (45.0, OUT), (49.99, OUT), (50.0, BACK), (50.0 - 1e-7, BACK), (95.0, BACK),
])
def test_a_gap_comes_from_the_move_begun_last(time_s, cause):
    assert _causes(_record(), _gap(time_s)) == [cause]
    assert _causes(_record(), _plain(start_s=time_s, end_s=99.0)) == ([cause] if time_s else [OUT])


def test_nothing_is_blamed_before_the_first_move():
    assert _causes(_record(), _gap(-1.0)) == [None]


@pytest.mark.parametrize(("start_s", "end_s", "cause"), [
    (0.0, 100.0, None), (-1.0, 101.0, None), (0.0, 0.0, None), (0.0, 99.0, OUT), (60.0, 100.0, BACK),
    (0.5, 0.5, OUT), (60.0, 60.0, BACK),
])
def test_what_holds_for_the_whole_run_or_no_time_stands_alone(start_s, end_s, cause):
    assert _causes(_record(), _plain(start_s=start_s, end_s=end_s)) == [cause]


def test_a_gap_of_the_whole_run_still_has_its_worst_instant():
    assert _causes(_record(), _gap(60.0, start_s=0.0, end_s=100.0)) == [BACK]


def test_a_name_counts_before_what_is_under_way_and_either_name_does():
    slots = (("walk", ("ev2",), 0.0),)
    record = _record(slots, steps=("walk",), shortfalls=(SimpleNamespace(carry="round", number=3, title="far"),))
    assert _causes(record, _plain("walk"), _plain("ev2", "walk")) == [Cause("step", "walk")] * 2
    assert _causes(record, _plain("back"), _plain("ev2", "far")) == [BACK, Cause("move", "far")]
    assert _causes(_record(), _plain("walk", start_s=1.0, end_s=2.0)) == [OUT]


def test_two_bodies_come_from_what_made_them_fail_first_in_time_whichever_stands_first():
    found = _causes(_record(), _gap(60.0), _gap(10.0, "platform/b", "arm/a"), _gap(70.0, "arm/c"))
    assert found == [OUT, OUT, BACK]


def test_only_a_gap_speaks_of_two_bodies():
    pair = {"subject": "arm/a", "other": "platform/b"}
    assert _causes(_record(), _gap(10.0), _plain(**pair, start_s=60.0, end_s=60.0)) == [OUT, BACK]
    assert _causes(_record(), _plain(**pair, start_s=10.0, end_s=10.0), _gap(60.0)) == [OUT, BACK]


def test_a_pass_comes_from_nothing_and_gives_nothing_to_others():
    passed = _gap(10.0, verdict=Verdict.PASS)
    assert _causes(_record(), passed, _gap(60.0)) == [None, BACK]
    assert _causes(_record(), _gap(10.0, verdict=Verdict.NOT_ASSESSED), _gap(60.0)) == [OUT, OUT]


def test_a_step_of_either_of_the_two_that_began_last_is_blamed_before_a_move():
    slots = (("walk", ("ev2", "ev3"), 0.0), ("ride", ("ev1", "arm"), 5.0), ("work", ("ev1",), 30.0))
    record = _record(slots)
    assert _causes(record, _gap(20.0, "arm/a", "platform/b"), _gap(40.0, "platform/b", "ev1/shin"),
                   _gap(40.0, "ev3/boot", "platform/c"), _gap(40.0, "tool/x", "platform/c")) == [
        Cause("step", "ride"), Cause("step", "work"), Cause("step", "walk"), OUT]  # fmt: skip
    assert _causes(record, _gap(30.0, "ev1/shin", "tool/x")) == [Cause("step", "work")]


def test_what_befalls_an_item_that_nothing_holds_comes_from_the_step_that_let_it_loose():
    broken = [SimpleNamespace(step=step, item=item, missing=missing, time_s=time_s, unknown=unknown)
              for step, item, missing, time_s, unknown in (
                  ("later", "box", "secured", 60.0, False), ("let_go", "box", "secured", 20.0, False),
                  ("early", "box", "bolts_tight", 1.0, False), ("unsaid", "case", "secured", 1.0, True))]  # fmt: skip
    slots = [("walk", ("ev1",), 30.0)]
    loose, walk = Cause("step", "let_go"), Cause("step", "walk")
    record = _record(slots=slots, broken=broken)
    assert _causes(record, _gap(40.0, "box/lid"), _gap(40.0, "platform/b", "box/lid")) == [loose, loose]
    assert _causes(record, _gap(40.0, "ev1/head", "box/lid"), _gap(20.0, "box/foot")) == [loose, loose]
    assert _causes(record, _gap(19.0, "box/lid")) == [OUT]  # before it was loose
    assert _causes(record, _gap(40.0, "ev1/head", "case/lid")) == [walk]  # nobody stated what is asked of that one
    assert _causes(_record(slots=slots, steps=("walk",), broken=broken), _plain("box", "walk", 40.0, 41.0)) == [walk]


def test_what_is_held_or_trailed_meets_in_a_step_of_whoever_has_it():
    slots, walk = [("walk", ("ev1", "ev3"), 30.0)], Cause("step", "walk")
    record = _record(slots=slots, held=[("box", "ev1"), ("bag", "ev3"), ("case", "rail")])
    assert _causes(record, _gap(40.0, "platform/b", "box/lid"), _gap(40.0, "bag/lid")) == [walk, walk]
    assert _causes(record, _gap(40.0, "case/lid"), _gap(20.0, "box/lid")) == [OUT, OUT]


def test_findings_of_a_verdict_are_grouped_by_cause_and_those_alone_by_number():
    alone, out, back = _plain(end_s=100.0), _gap(10.0), _gap(60.0, "arm/c")
    found = with_causes(_record(), (alone, back, out, _gap(20.0), _gap(1.0, verdict=Verdict.PASS), alone))
    groups = causes(found)
    assert list(groups) == [0, 5, OUT, BACK], "in the order of time: what comes later may follow from it"
    assert [len(group) for group in groups.values()] == [1, 1, 2, 1]
    assert groups[OUT] == [found[2], found[3]]
    assert causes(found, Verdict.PASS) == {4: [found[4]]}
    assert causes(found, Verdict.NOT_ASSESSED) == {}


def test_what_is_wrong_with_an_act_is_told_before_the_gaps_that_may_follow_from_it():
    gap, act = replace(_gap(20.0), cause=OUT), replace(_plain(30.0, 31.0), cause=OUT)
    assert causes((gap, act)) == {OUT: [act, gap]}


def test_a_cause_says_where_it_was_written():
    record = _record(slots=[("work", ("ev1",), 0.0)], steps=("work",))
    record.scene.loaded.written_at = lambda *about: " ".join(about)
    (named,) = with_causes(record, [_plain("work")])
    (moved,) = with_causes(_record_written(), [_plain("back")])
    assert (named.cause.written, moved.cause.written) == ("step work", "move round 1")
    assert named.as_dict()["cause"] == {"kind": "step", "name": "work", "written": "step work"}


def _record_written():
    record = _record()
    record.scene.loaded.written_at = lambda *about: " ".join(about)
    return record
