"""A step that states no time takes what the documents of what it is about say."""

import pytest
from pydantic import ValidationError

from armcarry.files.documents.steps import Step
from armcarry.files.load import load_scenario
from armcarry.timeline.task import stated
from armcarry.timeline.usual import usual


@pytest.fixture(scope="module")
def loaded():
    return load_scenario("work_platform")


def _step(**says):
    return Step.model_validate({"name": "one", "actors": ["ev1"], **says})


@pytest.mark.parametrize(
    ("says", "act", "count"),
    [
        ({"take": {"what": "rail_cart_2"}}, "take", 1),
        ({"unlock": {"what": "rail_cart_2", "fastener": "x"}}, "lock", 1),
        ({"fold_cover": {"what": "rail_cart_2", "fastener": "x", "make": "open"}}, "fold", 1),
        ({"bolt": {"what": "rail_cart_2", "count": 3, "make": "loose"}}, "loosen", 3),
        ({"bolt": {"what": "rail_cart_2", "count": 2, "make": "tight"}}, "tighten", 2),
        ({"connect": {"what": "rail_cart_2", "count": 2, "make": "parted"}}, "part", 2),
        ({"tether": {"what": "rail_cart_2"}}, "tether", 1),
    ],
)
def test_acts_of_hands_take_what_the_item_says(loaded, says, act, count):
    want = stated(getattr(loaded.hardware["rail_cart_2"].document.acts, act)).times(count)
    assert usual(loaded, _step(**says)) == want


def test_restraint_appendage_and_base_say_how_long_they_take(loaded):
    restraint = loaded.restraints["restraint"].document
    assert usual(loaded, _step(take={"what": "restraint"})) == stated(restraint.taking)
    assert usual(loaded, _step(fit_restraint={})) == stated(restraint.fitting)
    assert usual(loaded, _step(set_restraint={"settings": {"pitch": "90 deg"}})) == stated(restraint.setting)
    folds = usual(loaded, _step(move_appendage={"appendage": "radiator_port", "state": "stowed"}))
    assert folds.likely_s == 240.0
    rolls = usual(loaded, Step.model_validate({"name": "one", "actors": ["arm"], "move_base": {"to": "3 m"}}))
    assert rolls == stated(loaded.platform.document.mounts["trolley"].rolling)


@pytest.mark.parametrize("says", [{"tether": {"to": "keel_port_5"}}, {"inspect": "x"}, {"note": "x"},
                                  {"move_cart": {"cart": "cart_1", "to": "3 m"}}])  # fmt: skip
def test_what_no_document_says_must_be_stated(says):
    with pytest.raises(ValidationError, match="needs takes"):
        _step(**says)
