"""The demo carry with its moves written one by one, for tests that change moves."""

from pathlib import Path

SOURCE = Path(__file__).parents[2] / "scenarios" / "pump_box_radiator_out.yaml"


def long_carry() -> str:
    """Return the carry of pump_box_radiator_out with the radiator stowed and no vehicle docked, with its comments."""
    text = SOURCE.read_text(encoding="utf-8").split("\nexpect:\n", 1)[0] + "\n"
    for out, in_ in (("radiator_port: deployed", "radiator_port: stowed"), ("vehicle: docked", "vehicle: absent")):
        assert text.count(out) == 1
        text = text.replace(out, in_)
    return text


def short_carry() -> str:
    """Return the same up to where the box is out of the rack: 7 moves."""
    cut = "      - {line: {frame: platform/rack_a_stand, to: [-2.1 m, -3.7"
    return long_carry().split(cut, 1)[0]
