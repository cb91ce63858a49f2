"""Who would meet the arm or somebody waits, or they do: what leaves least lacking, then the shortest day."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.planning import clock as clocks
from armcarry.planning import waits
from armcarry.planning.clock import Met, Wait
from armcarry.planning.waits import find_waits

WALK = SimpleNamespace(name="ev2_to_bay_5", kind="translate", translate=object(), actors=["ev2"])
OTHER = SimpleNamespace(name="look", kind="inspect", translate=None, actors=["ev2"])
SCENE = SimpleNamespace(loaded=SimpleNamespace(written_at=lambda *key: "day.yaml:18"))


def _plan(name, end_s):
    day = SimpleNamespace(steps=[WALK, OTHER])
    done = SimpleNamespace(end_s=end_s, tasks_done=lambda: {"ev2_to_bay_5", "look"},
                           slot=lambda name: SimpleNamespace(start_s=50.0))  # fmt: skip
    return SimpleNamespace(name=name, day=day, schedule=done)


@pytest.fixture
def found(monkeypatch):
    """Return a function that finds waits where plans lack what is said: name -> (lacking, end)."""

    def find(lacking_m, choices, since_s=0.0, whom="arm", elsewhere_m=None):
        class Clock:
            def __init__(self, scene, walk, plan, since_s):
                self.scene, self.since_s = scene, since_s

            def met(self, plan, step):
                assert step is WALK
                return Met(lacking_m if plan.name == "as written" else choices[plan.name][0], whom)

            def lacking_m(self, plan, but):
                return (elsewhere_m or {}).get(plan.name, 0.0)

            def others(self, plan, step, met):
                assert met == whom
                for name, (_, end_s) in choices.items():
                    yield Wait(step.name, name), _plan(name, end_s)

        monkeypatch.setattr(waits, "Clock", Clock)
        walk = SimpleNamespace(shortfall=None)
        monkeypatch.setattr(waits, "settled_day", lambda scene, tell: (walk, _plan("as written", 100.0)))
        return find_waits(SCENE, lambda words, share: None, since_s=since_s)

    return find


def test_nobody_waits_who_keeps_clear_of_the_arm(found):
    assert found(0.04, {"to_rack_a": (0.0, 90.0)}) == ([], [])


def test_what_began_before_waits_for_nothing_any_more(found):
    assert found(0.4, {"to_bay_7": (0.0, 120.0)}, since_s=60.0) == ([], [])


def test_of_what_keeps_clear_the_shortest_day_is_taken_and_told(found):
    links, told = found(0.4, {"to_porch": (0.3, 100.0), "to_rack_a": (0.0, 130.0), "to_bay_7": (0.0, 120.0)})
    assert links == [{"step": "ev2_to_bay_5", "after": "to_bay_7"}]
    assert told == ["day.yaml:18, step ev2_to_bay_5 waits for day.yaml:18, step to_bay_7: else ev2 and the arm come "
                    "0.40 m too near one another"]  # fmt: skip


def test_what_no_wait_mends_is_told_with_what_to_write(found):
    links, told = found(0.4, {"to_porch": (0.38, 100.0)})
    assert links == []
    assert told == ["no way to keep clear in day.yaml:18, step ev2_to_bay_5, with any wait that was tried: ev2 and the "
                    "arm come 0.40 m too near one another; write after: another step, or another place "
                    "first"]  # fmt: skip
    links, told = found(0.4, {"to_porch": (0.2, 100.0)})
    assert links == [{"step": "ev2_to_bay_5", "after": "to_porch"}]
    assert len(told) == 2 and "come 0.20 m too near one another" in told[1]  # what is left
    links, told = found(0.4, {})  # nothing that could wait
    assert links == [] and "come 0.40 m too near one another" in told[0]


def test_what_keeps_clear_there_but_meets_somebody_elsewhere_is_not_taken(found):
    choices = {"to_rack_a": (0.0, 110.0), "to_bay_7": (0.0, 120.0)}
    links, _ = found(0.4, choices, elsewhere_m={"to_rack_a": 0.7})
    assert links == [{"step": "ev2_to_bay_5", "after": "to_bay_7"}]


def test_of_waits_that_move_what_lacks_somewhere_else_none_is_taken(found):
    links, told = found(0.4, {"to_rack_a": (0.0, 110.0)}, elsewhere_m={"to_rack_a": 0.38})
    assert links == [] and len(told) == 1


def test_of_waits_the_one_that_leaves_least_in_all_is_taken(found):
    links, _ = found(0.4, {"to_porch": (0.2, 100.0), "to_bay_7": (0.0, 120.0)}, elsewhere_m={"to_bay_7": 0.1})
    assert links == [{"step": "ev2_to_bay_5", "after": "to_bay_7"}]


def test_who_would_meet_somebody_else_waits_too_and_is_told_whom(found):
    links, told = found(0.3, {"ev1_to_airlock": (0.0, 120.0)}, whom="ev1")
    assert links == [{"step": "ev2_to_bay_5", "after": "ev1_to_airlock"}]
    assert "else ev2 and ev1 come 0.30 m too near one another" in told[0]


class _Hung:
    """Bodies of arm, load and two people, of whom one rides."""

    def __init__(self):
        things = ("platform", "arm", "restraint", "ev1", "box", "ev2")
        names = ("platform/keel", "arm/boom", "restraint/plate", "ev1/boot", "box/lid", "ev2/boot")
        self.mountings = [SimpleNamespace(instance=one) for one in things]
        self.bodies = [SimpleNamespace(name=name) for name in names]

    def hangs_from(self, thing, what):
        return what in {"restraint": ["arm"], "ev1": ["arm"], "box": ["arm", "ev1"]}.get(thing, [])


@pytest.mark.parametrize(
    ("step", "meets"),
    [(SimpleNamespace(translate=object(), actors=["ev2"]), {"arm/boom", "restraint/plate", "ev1/boot", "box/lid"}),
     (SimpleNamespace(translate=None, actors=["arm", "ev1"]), {"ev2/boot"})],
)  # fmt: skip
def test_rider_and_load_are_met_with_the_arm_and_who_stands_where_the_arm_comes_past_by_it(step, meets):
    clock = clocks.Clock.__new__(clocks.Clock)
    classes = ("structure", "arm", "rider", "rider", "hardware", "worker")
    clock.scene = SimpleNamespace(loaded=SimpleNamespace(crew={"ev1": 0, "ev2": 0}), body_classes=lambda tree: classes)
    tree = _Hung()
    pairs, whom = clock._pairs(tree, step)
    met = {tree.bodies[row].name for pair in pairs for row in pair}
    assert meets <= met and "platform/keel" not in met
    assert set(whom) == ({"arm"} if step.translate else {"ev2"})


def test_bodies_that_are_meant_to_touch_lack_nothing(monkeypatch):
    clock = clocks.Clock.__new__(clocks.Clock)
    clock.scene = None
    clock._pairs = lambda tree, step: (np.array([[0, 2], [1, 2]]), ["ev1", "ev2"])
    window = SimpleNamespace(start_s=0.0, end_s=9.0, required_m=np.array([np.nan, 0.3]), meant=np.array([True, False]))
    monkeypatch.setattr(clocks, "granted", lambda scene, phases, motion: ())
    monkeypatch.setattr(clocks, "Requirement", lambda *args: SimpleNamespace(windows=lambda start_s, end_s: [window]))
    proven = SimpleNamespace(status=np.array([clocks.CONTACT, "proven"]), lower_m=np.array([0.0, 0.2]))
    monkeypatch.setattr(clocks, "prove_clearance", lambda *args, **more: proven)
    met = clock._between(None, None, 0.0, 9.0, WALK)
    assert (met.whom, met.lacking_m) == ("ev2", pytest.approx(0.1))


def test_whoever_is_nearer_to_the_moving_arm_than_lets_it_stop_before_them_is_met(monkeypatch):
    clock = clocks.Clock.__new__(clocks.Clock)
    clock.scene = SimpleNamespace(loaded=SimpleNamespace(crew={"ev1": 0, "ev2": 0}))
    margins = {"ev1": 0.2, "ev2": -0.35}
    beside = lambda record, part, who: SimpleNamespace(  # noqa: E731
        together=True, least=lambda: SimpleNamespace(margin_m=margins[who]))  # fmt: skip
    monkeypatch.setattr(clocks, "BesideArm", beside)
    part = SimpleNamespace(start_s=0.0, end_s=9.0)
    ride = SimpleNamespace(translate=None, actors=["arm", "ev1"])
    assert clock._separated(part, None, ride) == Met(0.35, "ev2")
    assert clock._separated(part, None, WALK) == Met(0.35, "arm")  # who walks is too near to the arm
    margins["ev2"] = 0.0
    assert clock._separated(part, None, WALK).lacking_m == 0.0
