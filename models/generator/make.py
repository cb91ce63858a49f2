"""Writes the demo world: every URDF and mesh, and the YAML of platform and crew.

Run ``python models/generator/make.py`` to write into models/, or give another folder.
The other YAML files (arm, restraint, hardware, rules) are written by hand.
"""

from __future__ import annotations

import sys
from pathlib import Path

import crew
import documents
import furniture
import heron
import keel
import modules
import tools
import vehicle
import wings
import worksites
from writer import Robot, write_text


def yard() -> Robot:
    """Return the platform."""
    platform = Robot("tern_yard", "yard")
    keel.add_keel(platform)
    keel.add_track(platform)
    keel.add_mast(platform)
    modules.add_modules(platform)
    modules.add_airlock(platform)
    wings.add_radiators(platform)
    wings.add_solar_wing(platform)
    worksites.add_seats(platform)
    worksites.add_sites(platform)
    furniture.add_rails(platform)
    furniture.add_cameras(platform)
    furniture.add_mount(platform)
    return platform


def write_all(models: Path) -> None:
    """Write everything below ``models``."""
    place = models / "platforms" / "tern_yard"
    yard().write(place, "tern_yard.urdf")
    vehicle.build().write(place, "visitor.urdf")
    write_text(place / "tern_yard.yaml", documents.platform())
    people = models / "crew" / "suited"
    for size in crew.SIZES:
        crew.build(size).write(people, f"suited_{size.name}.urdf")
    write_text(people / "suited.yaml", documents.suited())
    heron.build().write(models / "arms" / "heron", "heron.urdf")
    tools.restraint().write(models / "restraints" / "foot_restraint", "foot_restraint.urdf")
    shaped = (tools.pump_box(), tools.survey_camera(), tools.rail_cart(), tools.blanket())
    for item in (*shaped, tools.without_shape("driver", 2.0), tools.without_shape("tool_bag", 4.0)):
        item.write(models / "hardware" / item.name, f"{item.name}.urdf")


if __name__ == "__main__":
    write_all(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent.parent)
