import pytest

from armcarry.views import palette as p

# WCAG 2.2 understanding documents and techniques (non-text-contrast, G207, G183, G223, G195): printed ratios
PUBLISHED = [
    ("#949494", "#FFFFFF", 3.033),
    ("#E3660E", "#FFFFFF", 3.402),
    ("#3366CC", "#000000", 3.913),
    ("#FFF000", "#FFFFFF", 1.185),
    ("#9D9D9D", "#FFFFFF", 2.712),
    ("#CA0000", "#FFFFFF", 5.981),
    ("#FF3838", "#FFFFFF", 3.575),
    ("#E5E5E5", "#6221EA", 5.699),
    ("#000000", "#FFFFFF", 21.0),
    ("#767676", "#FFFFFF", 4.542),
    ("#777777", "#FFFFFF", 4.478),
]


@pytest.mark.parametrize(("one", "other", "ratio"), PUBLISHED)
def test_contrast_is_that_of_the_guidelines(one, other, ratio):
    assert p.contrast(one, other) == pytest.approx(ratio, abs=6e-4)
    assert p.contrast(other, one) == p.contrast(one, other)


def test_the_hues_are_those_of_okabe_and_ito():
    # Okabe & Ito, Color Universal Design, 2008
    assert list(p.OKABE_ITO.values()) == [
        "#000000",
        "#E69F00",
        "#56B4E9",
        "#009E73",
        "#F0E442",
        "#0072B2",
        "#D55E00",
        "#CC79A7",
    ]


def test_text_and_signs_stand_out():
    for ink in (p.INK, p.FAINT_INK):
        assert p.contrast(ink, p.PAPER) >= 4.5
    for light in (p.LIGHT, p.FAINT_LIGHT):
        assert min(p.contrast(light, ground) for ground in (p.ROOM, p.PANEL)) >= 4.5
    for line in p.LINES:
        assert p.contrast(line, p.PAPER) >= 3
    for body in p.BODIES.values():
        assert p.contrast(body, p.ROOM) >= 3
    for colour, _ in p.VERDICTS.values():
        assert p.contrast(colour, p.PANEL) >= 3


def test_a_colour_of_another_form_is_refused():
    with pytest.raises(ValueError, match="a colour is #RRGGBB, found 'red'"):
        p.channels("red")
