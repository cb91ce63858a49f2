"""Writes the YAML beside the generated URDFs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import crew
import furniture
import keel
import wings
import worksites
from writer import number

HEADER = "# written by models/generator: change it there, or copy this folder and edit the copy\n"


def header(document: Mapping[str, Any]) -> str:
    """Return the first lines of a file: where editors find its schema, and who wrote it."""
    kind = document["format"].split()[1]
    return f"# yaml-language-server: $schema=../../../shared/schemas/{kind}.schema.json\n{HEADER}"


def yaml_text(value: Mapping[str, Any], indent: int = 0) -> str:
    """Return block YAML of nested mappings; lists of plain values in one line."""
    lines = []
    for key, item in value.items():
        pad = "  " * indent
        if isinstance(item, Mapping) and item:
            lines.append(f"{pad}{key}:\n{yaml_text(item, indent + 1)}")
        else:
            lines.append(f"{pad}{key}: {_flow(item)}\n")
    return "".join(lines)


def _flow(item: Any) -> str:
    if isinstance(item, Mapping):
        return "{" + ", ".join(f"{key}: {_flow(part)}" for key, part in item.items()) + "}"
    if isinstance(item, str):
        plain = item and item[0].isalpha() and not any(sign in item for sign in ":#{}[],&*!|>'\"%@`")
        return item if plain else '"' + item.replace('"', '\\"') + '"'
    if isinstance(item, Sequence):
        return "[" + ", ".join(_flow(part) for part in item) + "]"
    return str(item)


def degrees(value: float) -> str:
    """Write an angle."""
    return f"{number(value)} deg"


def metres(value: float) -> str:
    """Write a length."""
    return f"{number(value)} m"


def settings(angles: Mapping[str, float]) -> dict[str, str]:
    """Write joint angles."""
    return {name: degrees(value) for name, value in angles.items()}


def platform() -> str:
    """Return the platform document of Tern Yard."""
    document: dict[str, Any] = {
        "format": "armcarry platform 1",
        "title": "Tern Yard: a keel truss with modules below it, radiators beside it and a solar wing at its stern",
        "basis": "assumption",
        "notes": "An invented place. Every size and position is an assumption: put your own platform here.",
        "urdf": "tern_yard.urdf",
        "vehicle_urdf": "visitor.urdf",
        "vehicle_dock": "vehicle_dock",
        "airlock": "hatch",
        "classes": {"appendage": ["radiator_*_sheet_*", "solar_blanket_*", "solar_bar_*", "solar_mast_*"]},
        "mounts": {
            "trolley": {"frame": "trolley_mount", "joint": "trolley_slide", "half_length": "0.9 m"},
            "quay": {"frame": "quay_mount"},
        },
        "carts": {
            f"cart_{k}": {
                "joint": f"cart_{k}_slide", "half_length": metres(keel.CART_HALF_M), "body_frame": f"cart_{k}_seat",
            }
            for k in (1, 2)
        },
        "appendages": _appendages(),
        "worksites": _worksites(),
        "seats": _seats(),
        "handrails": {
            name: {"start": f"{name}_from", "end": f"{name}_to", **_near(worksites.near_rails().get(name, ()))}
            for name in furniture.rails()
        },
        "zones": {
            "track": {
                "frame": "track_from", "end": "track_to", "within": "2.2 m", **_near(worksites.OVER_THE_TRACK),
            },
        },
        "cameras": {
            name: {
                "frame": name, "title": title, "horizontal_view": "62 deg", "vertical_view": "38 deg",
                "pan": ["-120 deg", "120 deg"], "tilt": ["-45 deg", "45 deg"],
            }
            for name, (_, _, title) in furniture.CAMERAS.items()
        },
    }
    return header(document) + yaml_text(document)


def _appendages() -> dict[str, Any]:
    found: dict[str, Any] = {
        f"radiator_{side}": {
            "joints": list(wings.stowed(side)),
            "turning_time": "240 s",
            "states": {"stowed": settings(wings.stowed(side)), "deployed": settings(wings.deployed(side))},
        }
        for side in wings.RADIATORS
    }
    found["solar_wing"] = {
        "joints": ["solar_turn"],
        "turning_time": "600 s",
        "states": {
            "edge_on": {"solar_turn": "90 deg"}, "level": {"solar_turn": "0 deg"}, "sloped": {"solar_turn": "52 deg"},
        },
    }
    return found


def _worksites() -> dict[str, Any]:
    found: dict[str, Any] = {}
    for site in worksites.sites():
        entry: dict[str, Any] = {"title": site.title, "stand": f"{site.name}_stand"}
        if site.socket is not None:
            entry["socket"] = f"{site.name}_socket"
        entry |= {
            "work_points": {name: name for name in site.points},
            "hands": "two" if site.two_hands else "one",
            "handrail": site.handrail,
        }
        if site.seat is not None:
            entry["seat"] = site.seat
        for key, way in (("way_in", site.way_in), ("way_in_loaded", site.way_in_loaded)):
            if way:
                entry[key] = [[metres(value) for value in point] for point in way]
        found[site.name] = entry | _near(site.near)
    return found


def _seats() -> dict[str, Any]:
    found: dict[str, Any] = {
        plan.name: {
            "frame": plan.name, "accepts": list(plan.accepts), "connectors": plan.connectors, "bolts": plan.bolts,
            "touches": list(plan.touches), **_near(plan.near),
        }
        for plan in worksites.seats()
    }
    for k in (1, 2):
        found[f"cart_{k}_seat"] = {
            "frame": f"cart_{k}_seat", "accepts": ["rail_cart"], "connectors": 0, "bolts": 4,
            "touches": ["track_port_*", "track_star_*"],
        }
    return found


def _near(plans: Sequence[worksites.NearPlan]) -> dict[str, Any]:
    """Return the key that says what may be come near to, or nothing."""
    listed = [
        {"who": plan.who, "to": plan.to, "at_least": metres(plan.at_least_m), "why": plan.why} for plan in plans
    ]
    return {"near": listed} if listed else {}


def suited() -> str:
    """Return the crew document."""
    row = (
        "Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II), {} percentile of the public data: stature, acromial height, "
        "sitting height, shoulder-elbow, forearm-hand, bideltoid breadth, foot length; suited girths and the offsets "
        "of hip, ankle and shoulder joints are assumptions"
    )
    which = {"small": "women 5th", "medium": "men 50th", "large": "men 95th"}
    sizes: dict[str, Any] = {}
    for size in crew.SIZES:
        both = size.shoulder_elbow + size.grip
        sizes[size.name] = {
            "urdf": f"suited_{size.name}.urdf",
            "mass": f"{number(size.mass_kg)} kg",
            "reach": {
                "one_hand": metres(round(0.92 * both, 3)), "two_hand": metres(round(0.90 * both, 3)),
                "nearest": "0.30 m", "half_angle": "65 deg",
            },
        }
    document: dict[str, Any] = {
        "format": "armcarry crew 1",
        "title": "Suited body in three sizes",
        "basis": "assumption",
        "notes": "Reach is 92 % (one hand) and 90 % (two hands) of the bare arm to the grip, assumed.",
        "sources": {f"sizes.{name}.urdf": row.format(text) for name, text in which.items()},
        "sizes": sizes,
        "postures": {name: settings(angles) for name, angles in crew.POSTURES.items()},
        "boots": "boots", "chest": "chest", "visor": "visor",
        "shoulders": ["left_shoulder", "right_shoulder"], "gloves": ["left_glove", "right_glove"], "hands": "hands",
        "view_half_angle": "60 deg", "corridor": "1.1 m", "translation_speed": "0.15 m/s",
        "trails": "0.85 m",
        "groups": {
            "hands": ["glove_*"], "forearms": ["forearm_*"], "arms": ["*arm_*"],
            "legs": ["boot_*", "shin_*", "thigh_*", "pelvis_brief"],
            "upper": ["torso_*", "pack", "chest_panel", "collar", "helmet", "visor_bowl"], "whole": ["*"],
        },
        "cameras": {
            "helmet_eye": {
                "frame": "visor", "title": "on the helmet, looks where the visor looks",
                "horizontal_view": "70 deg", "vertical_view": "50 deg",
            },
        },
    }
    return header(document) + yaml_text(document)
