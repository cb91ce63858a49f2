"""The safe point of a script is a worksite of its platform."""

import pytest

from armcarry.errors import InputError
from armcarry.files.load import load_scenario


def test_a_safe_point_that_is_no_worksite_is_refused_with_its_line(world, change):
    change("script.yaml", "\ncarries:", "\nsafe_point: nowhere\ncarries:")
    with pytest.raises(InputError, match=r"script\.yaml:\d+: no worksite 'nowhere'|worksite"):
        load_scenario(world / "script.yaml")


def test_a_worksite_is_taken_as_the_safe_point(world, change):
    name = next(iter(load_scenario(world / "script.yaml").platform.document.worksites))
    change("script.yaml", "\ncarries:", f"\nsafe_point: {name}\ncarries:")
    assert load_scenario(world / "script.yaml").scenario.safe_point == name
