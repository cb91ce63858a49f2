"""No check sinks a run: what goes wrong in one is a finding that names it, and the rest is judged and kept."""

import dataclasses
import json
import math
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry import checks
from armcarry.checks.guarded import judged, takes_settings
from armcarry.record.finding import ClearanceDetail, Finding, Verdict, Way

FINE = Finding("own", Verdict.PASS, "arm", "seen")


def _one(check, settings=None):
    (found,) = judged("own", check, None, settings)
    return found


def _fails(error):
    def check(record):
        raise error

    return check


class Mute(Exception):
    def __str__(self):
        raise RuntimeError("no words")


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (ValueError("two\nlines"), "check 'own' broke off with ValueError: two lines (test_guarded.py, line "),
        (KeyError("limit"), "check 'own' broke off with KeyError: 'limit' (test_guarded.py, line "),
        (SystemExit(3), "check 'own' broke off with SystemExit: 3 (test_guarded.py, line "),
        (MemoryError(), "check 'own' broke off with MemoryError (test_guarded.py, line "),
        (Mute(), "check 'own' broke off with Mute (test_guarded.py, line "),
    ],
)
def test_a_check_that_raises_is_not_assessed(error, words):
    found = _one(_fails(error))
    assert (found.check, found.verdict, found.subject) == ("own", Verdict.NOT_ASSESSED, "check")
    assert found.message.startswith(words)
    assert found.remedy == "have the check 'own' mended by who wrote it"


def test_one_that_breaks_off_in_the_middle_is_not_assessed_either():
    def check(record):
        yield FINE
        raise ValueError("half way")

    assert "broke off with ValueError: half way" in _one(check).message


def test_who_wants_to_stop_is_let():
    with pytest.raises(KeyboardInterrupt):
        judged("own", _fails(KeyboardInterrupt()), None)


def test_what_is_no_list_of_findings_is_not_assessed():
    assert _one(lambda record: None).message == "check 'own' returned None instead of its findings"
    words = "check 'own' broke off with TypeError: 'int' object is not iterable"
    assert _one(lambda record: 3).message.startswith(words)
    assert _one(lambda record: ["ok"]).message == "check 'own' gave str where a Finding is expected"


BAD = [
    ({"verdict": "maybe"}, "verdict 'maybe' is unknown; accepted: pass, fail, not_assessed"),
    ({"verdict": None}, "verdict None is unknown"),
    ({"value": math.nan}, "value is nan, not a finite number"),
    ({"limit": math.inf}, "limit is inf, not a finite number"),
    ({"start_s": None}, "start_s is None, not a finite number"),
    ({"end_s": "soon"}, "end_s is 'soon', not a finite number"),
    ({"message": ""}, "message is empty"),
    ({"message": None}, "message is no text"),
    ({"subject": 3}, "subject is no text"),
    ({"clearance": ClearanceDetail(math.nan, 1.0, 0.1, 0.0, (0, 0, 0), (0, 0, 0))}, "clearance holds what is no"),
    ({"clearance": ClearanceDetail(0.0, 1.0, 0.1, 0.0, (0, 0, math.inf), (0, 0, 0))}, "clearance holds what is no"),
    ({"ways": (Way(0.0, "none", "", math.nan, ()),)}, "ways holds what is no way"),
]


@pytest.mark.parametrize(("changed", "words"), BAD, ids=[words[:24] for _, words in BAD])
def test_a_finding_that_cannot_be_kept_is_replaced_and_the_others_stay(changed, words):
    bad = dataclasses.replace(FINE, **changed)
    kept, told = judged("own", lambda record: (FINE, bad), None)
    assert kept == FINE
    assert told.verdict is Verdict.NOT_ASSESSED
    assert told.message.startswith(f"check 'own' gave a finding that cannot be kept: {words}")
    json.dumps(told.as_dict(), allow_nan=False)


@pytest.mark.parametrize(("changed", "words"), BAD[2:6] + BAD[9:], ids=[words[:24] for _, words in BAD[2:6] + BAD[9:]])
def test_a_failure_stays_one_whatever_is_told_beside_it(changed, words):
    failed = dataclasses.replace(FINE, verdict=Verdict.FAIL, remedy="stop")
    kept = _one(lambda record: (dataclasses.replace(failed, **changed),))
    assert (kept.verdict, kept.subject, kept.remedy) == (Verdict.FAIL, "arm", "stop")
    assert kept.message.startswith(f"seen; told beside it, and left out: {words}")
    assert kept.clearance is None and kept.ways == ()
    json.dumps(kept.as_dict(), allow_nan=False)


def test_failures_before_an_error_stay_and_passes_do_not():
    failed = dataclasses.replace(FINE, verdict=Verdict.FAIL, remedy="stop")

    def check(record):
        yield FINE
        yield failed
        raise ValueError("half way")

    kept, told = judged("own", check, None)
    assert kept == failed and told.verdict is Verdict.NOT_ASSESSED and "half way" in told.message


def test_what_can_be_understood_is_put_right():
    loose = Finding("other", "fail", "arm", "words", value=np.float32(0.5), start_s=3, end_s=np.int64(4))
    found = _one(lambda record: iter([loose]))
    assert (found.check, found.verdict, found.value) == ("own", Verdict.FAIL, 0.5)
    assert [type(item) for item in (found.value, found.start_s, found.end_s)] == [float, float, float]
    json.dumps(found.as_dict(), allow_nan=False)


def test_contact_and_what_is_not_measured_have_their_bounds():
    for lower, upper in ((-math.inf, 0.0), (3.0, math.inf)):
        detail = ClearanceDetail(lower, upper, 0.1, 0.0, (0.0,) * 3, (0.0,) * 3)
        fine = dataclasses.replace(FINE, clearance=detail)
        assert _one(lambda record, fine=fine: (fine,)) == fine


def test_settings_reach_the_check_that_takes_them():
    def check(record, settings):
        settings["seen"] = True  # its own copy
        return [Finding("own", Verdict.PASS, "arm", f"at most {settings.get('most', 'any')}")]

    given = {"most": "3"}
    assert _one(check, given).message == "at most 3" and given == {"most": "3"}
    assert _one(check).message == "at most any"
    assert takes_settings(check) and not takes_settings(lambda record: ())
    refused = _one(lambda record: (FINE,), {"most": "3"})
    assert (refused.verdict, refused.message) == (
        Verdict.NOT_ASSESSED, "the rules give settings to check 'own', which takes none"
    )


class Entry:
    def __init__(self, name, loaded, value="theirs:check"):
        self.name, self.loaded, self.value = name, loaded, value

    def load(self):
        if isinstance(self.loaded, BaseException):
            raise self.loaded
        return self.loaded


@pytest.fixture
def told(monkeypatch):
    """Run only the checks that entry points name, with settings of the rules."""

    def run(*entries, settings=None):
        monkeypatch.setattr(checks, "iter_modules", lambda path: [SimpleNamespace(name="reach")])
        monkeypatch.setattr(checks, "entry_points", lambda group: entries)
        loaded = SimpleNamespace(rules=SimpleNamespace(checks=settings or {}))
        scene = SimpleNamespace(loaded=loaded)
        record = SimpleNamespace(scene=scene, shortfalls=(), moves=(), duration_s=1.0, plan=None)
        return checks.run_checks(record)

    return run


def test_a_taken_name_is_refused_aloud_and_the_owner_is_run(told):
    found = told(Entry("reach", lambda record: (FINE,)))
    assert [(item.check, item.verdict) for item in found] == [
        ("reach", Verdict.NOT_ASSESSED), ("reach", Verdict.PASS)
    ]
    assert found[0].message == (
        "check 'reach' of theirs:check was not run: armcarry itself has a check of that name"
    )
    twice = told(Entry("own", lambda record: (FINE,)), Entry("own", lambda record: (), "third:check"))
    assert twice[0].message == "check 'own' of third:check was not run: another package has a check of that name"
    assert FINE in twice


def test_what_cannot_be_loaded_is_not_assessed(told):
    found = told(Entry("own", ImportError("No module named 'theirs'")), Entry("odd", 3, "odd:check"))
    assert found[0].message.startswith(
        "check 'own' of theirs:check cannot be loaded: ImportError: No module named 'theirs'"
    )
    assert found[1].message.startswith("check 'odd' of odd:check cannot be loaded: TypeError: odd:check is no function")
    assert found[-1].verdict is Verdict.PASS


def test_settings_of_a_check_that_is_not_here_are_told(told):
    found = told(settings={"gone": {"most": "3"}})
    assert found[0].check == "gone"
    assert found[0].message == (
        "the rules give settings to check 'gone', and no check of that name is installed here"
    )
