"""What is said of ways out with one joint locked; the ways themselves are made here by hand."""

import numpy as np
import pytest

from armcarry.checks import locked_joint
from armcarry.geometry import poses
from armcarry.record.finding import Verdict, Way
from armcarry.whatif.locked_joint import Escape


@pytest.fixture
def run(rider_scene, moving_record):
    """Build a run of ten seconds looked at ten times, within five minutes of a safe place."""

    def build(rails=True, **rules):
        scene = rider_scene({})
        shoulder = scene.tree.pose_of("ev1/left_shoulder", scene.position)[:3, 3]
        frames = {end: poses.translation(shoulder + np.array([0.0, far, 0.0])) for end, far in (("a", 2.0), ("b", 3.0))}
        platform = {"handrails": {"rail": {"start": "a", "end": "b"}}, "airlock": "b"} if rails else None
        rules = {"safe_return": "5 min", **rules}
        return moving_record(rider_scene({}, frames=frames, platform=platform, rules=rules), {})

    return build


def _escape(time_s=0.5, joint=0, kind="handrail", where="platform/rail", lasting_s=60.0, lower_m=0.12, crew="ev1"):
    return Escape(time_s, joint, crew, kind, where, np.full((2, 6), time_s), lasting_s, lower_m)


def _judge(record, *found, monkeypatch):
    monkeypatch.setattr(locked_joint, "escapes", lambda _: found)
    return locked_joint.check(record)


def test_rules_may_leave_it_out(run):
    (found,) = locked_joint.check(run(locked_joint={"instants": 0}))
    assert found.verdict is Verdict.NOT_ASSESSED
    assert found.message == "the rules leave out what happens when a joint locks"
    assert found.remedy == "give rules.locked_joint some instants"


def test_with_nobody_aboard_there_is_nobody_to_save(run, monkeypatch):
    (found,) = _judge(run(), monkeypatch=monkeypatch)
    assert (found.verdict, found.message) == (
        Verdict.PASS, "nobody rides the arm at any of the 10 instants looked at"
    )


@pytest.mark.parametrize(("lasting_s", "verdict"), [(300.0, Verdict.PASS), (300.1, Verdict.FAIL)])
def test_the_longest_way_is_judged_against_the_safe_return(run, monkeypatch, lasting_s, verdict):
    items = _escape(0.5), _escape(3.5, lasting_s=lasting_s, lower_m=0.25), _escape(5.5, kind="here", lasting_s=0.0)
    (found,) = _judge(run(), *items, monkeypatch=monkeypatch)
    assert found.verdict is verdict
    assert (found.subject, found.other, found.value, found.limit) == ("arm/j1", "ev1", lasting_s, 300.0)
    assert (found.start_s, found.end_s, found.unit) == (3.5, 3.5, "s")
    assert found.message == (
        "if arm/j1 locks (looked at 3 times, every 0:00:01.0), the other joints bring ev1 to within reach of "
        f"platform/rail; the longest way takes 0:05:00.{round(lasting_s * 10) % 10}, when it locks at 0:00:03.5, with "
        "at least 0.120 m more left on every way than must be; 0:05:00.0 is allowed"
    )
    nearer = "lead the carry nearer to a handrail around 0:00:03.5, or name a nearer safe_point"
    assert found.remedy == ("" if verdict is Verdict.PASS else nearer)


def test_where_a_way_leads_is_told(run, monkeypatch):
    (here,) = _judge(run(), _escape(kind="here", lasting_s=0.0), monkeypatch=monkeypatch)
    assert "bring ev1 to nowhere, platform/rail being in reach; " in here.message
    (point,) = _judge(run(), _escape(kind="safe point", where="den"), monkeypatch=monkeypatch)
    assert "bring ev1 to the safe point, den; " in point.message


def test_instants_without_a_way_fail(run, monkeypatch):
    lost = [_escape(time, kind="none", where="", lasting_s=0.0, lower_m=-np.inf) for time in (2.5, 6.5)]
    (found,) = _judge(run(), _escape(0.5), *lost, monkeypatch=monkeypatch)
    assert found.verdict is Verdict.FAIL
    assert (found.value, found.limit, found.unit, found.start_s, found.end_s) == (2.0, 0.0, "instants", 2.5, 6.5)
    assert found.message == (
        "if arm/j1 locks at 0:00:02.5, 0:00:06.5 (2 of 3 instants looked at), no way was found by which the other "
        "joints bring ev1 within reach of a handrail or of the safe point"
    )
    # 2 m from the shoulder, of which a glove reaches 0.75 m
    assert found.remedy == (
        "lead the carry nearer to rail, 1.3 m from the gloves of ev1 at 0:00:02.5, name a worksite on the way as "
        "safe_point, or take the place from another base station or on another branch (armcarry stations, armcarry "
        "route); outside the script, a second worker with a tether waits there"
    )
    assert (found.subject, found.other) == ("arm/j1", "ev1")


def test_without_handrails_somebody_must_wait_near(run, monkeypatch):
    (found,) = _judge(run(rails=False), _escape(2.5, kind="none", where=""), monkeypatch=monkeypatch)
    assert found.remedy == (
        "name a worksite on the way as safe_point, or take the place from another base station or on another branch "
        "(armcarry stations, armcarry route); outside the script, a second worker with a tether near ev1 then"
    )


def test_each_joint_and_rider_is_judged_alone_failures_first_with_its_ways(run, monkeypatch):
    good, bad = _escape(joint=1), _escape(joint=3, kind="none", where="", lasting_s=0.0)
    findings = _judge(run(), good, _escape(joint=1, crew="ev2"), bad, monkeypatch=monkeypatch)
    told = [(item.subject, item.other) for item in findings]
    assert told == [("arm/j4", "ev1"), ("arm/j2", "ev1"), ("arm/j2", "ev2")]
    assert findings[0].ways == (Way(0.5, "none", "", 0.0, ()),)
    assert findings[1].ways == (Way(0.5, "handrail", "platform/rail", 60.0, ((0.5,) * 6, (0.5,) * 6)),)
