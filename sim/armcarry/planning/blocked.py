"""Why there is no way: what blocks it, by how much, and which change would open it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.geometry.poses import Array
from armcarry.planning.roadmap import find_way
from armcarry.planning.space import SINGULAR, STRANDED, ArmSpace
from armcarry.planning.ways import Way, arcs_of, standing
from armcarry.scene.build import PLATFORM, VEHICLE, Scene
from armcarry.scene.tree import Tree


@dataclass(frozen=True, eq=False)
class Change:
    """Something a scenario could have otherwise: words, and tree and position then."""

    words: str
    tree: Tree
    position: Array


def why_none(scene: Scene, space: ArmSpace, way: Way, seed: int) -> str:
    """Say what blocks the least bad way that was found, by how much, and what opens it.

    Every state of an appendage and the vehicle's absence are tried with the same start, goal and seed.

    Args:
        scene, space: where it was sought.
        way: not free.
        seed: of the search.
    """
    ends = space.margins(standing(way.points[[0, -1]]))
    where, row, lacking = "every way found", way.blocked_by, -way.least_m
    for place, margin, pair in zip(("its start", "its goal"), ends.lower_m.tolist(), ends.pair.tolist(), strict=True):
        if margin < 0.0:
            where, row, lacking = place, pair, -margin
            break
    if row == SINGULAR:
        return f"none: the arm loses a direction of motion on {where}; start from another branch or base station"
    if row == STRANDED:
        return f"none: on {where} the rider is {lacking:.1f} m farther from a handrail than the rules' tether reaches"
    if row < 0:
        return f"no way was found: {where} lacks {lacking:.3f} m"
    a, b, asked = space.pair_names(row)
    opens = [change.words for change in changes(scene, space) if _opened(scene, space, change, way, seed)]
    remedy = f"it opens with {' or '.join(opens)}" if opens else (
        "no appendage state nor the vehicle's absence opens it; try another base station (armcarry stations) or goal"
    )
    return f"none: {a} to {b} lacks {lacking:.3f} m of {asked:.3f} m on {where}; {remedy}"


def changes(scene: Scene, space: ArmSpace) -> list[Change]:
    """List the states of appendages other than the present, and the vehicle's absence."""
    platform = scene.loaded.platform.document
    script: ScenarioDocument = scene.loaded.scenario
    found = []
    for name, appendage in platform.appendages.items():
        for state, joints in appendage.states.items():
            position = space.position.copy()
            for joint, value in joints.items():
                position[space.tree.column(f"{PLATFORM}/{joint}")] = value
            if not np.array_equal(position, space.position):
                found.append(Change(f"{name} {state}", space.tree, position))
    if script.vehicle == "docked" and any(m.instance == VEHICLE for m in space.tree.mountings):
        vehicle = space.tree.mounting(VEHICLE)
        if not vehicle.model.movable():
            without = Tree(tuple(m for m in space.tree.mountings if m.instance != VEHICLE))
            found.append(Change("the vehicle absent", without, space.position))
    return found


def _opened(scene: Scene, of: ArmSpace, change: Change, way: Way, seed: int) -> bool:
    """Tell whether a change opens the way: the same one, or another found with the same seed."""
    space = ArmSpace(scene, change.tree, change.position, budget=of.budget)
    space.least_singular, space.stranded_m = of.least_singular, of.stranded_m
    space.allow_near(way.points[[0, -1]], below_rules=False)
    if np.all(space.margins(arcs_of(way.points)[0]).lower_m >= 0.0):
        return True
    if np.any(space.margins(standing(way.points[[0, -1]])).lower_m < 0.0):
        return False
    return find_way(space, way.points[0], way.points[[-1]], seed=seed).free
