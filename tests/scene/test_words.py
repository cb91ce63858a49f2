"""Names as people read them."""

import pytest

from armcarry.scene.words import plain, plain_joint


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("platform/keel_bay_7_brace_port", "keel bay 7 brace port"),
        ("ev1/glove_left", "ev1 glove left"),
        ("pump_box", "pump box"),
        ("arm/boom_near_tube", "arm boom near tube"),
    ],
)
def test_only_the_platform_goes_unnamed(name, words):
    assert plain(name) == words


def test_a_joint_goes_without_its_arm():
    assert plain_joint("arm/wrist_turn") == "wrist turn"
    assert plain_joint("tip") == "tip"
