"""The cameras of a scene, on platform, arm and helmets, and what they are asked to show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from armcarry.files.names import matches
from armcarry.scene.build import ARM, PLATFORM, Scene
from armcarry.scene.camera import View
from armcarry.scene.tree import Tree

if TYPE_CHECKING:
    from armcarry.files.documents.arm import Camera

#: name of the arm's tip as a target
TIP = f"{ARM}/tip"


@dataclass(frozen=True)
class SceneCamera:
    """A camera: ``name`` is whose it is and its own name, ``link`` the link it is fixed to, +x ahead, +z up."""

    name: str
    title: str
    link: str
    view: View


@dataclass(frozen=True)
class Target:
    """Something to be watched: the origin of ``link``; seeing a body of ``parts`` is seeing it.

    Attributes:
        name: ``arm/tip``, or a crewmember.
        parts: prefixes of the names of bodies that belong to it.
    """

    name: str
    link: str
    parts: tuple[str, ...]


def scene_cameras(scene: Scene, off: bool = False) -> tuple[SceneCamera, ...]:
    """Return the cameras of the platform, then of the arm, then of every crewmember, less those out of service.

    With ``off`` those out of service alone.
    """
    loaded = scene.loaded
    owners: list[tuple[str, Mapping[str, Camera]]] = [
        (PLATFORM, loaded.platform.document.cameras),
        (ARM, loaded.arm.document.cameras),
        *((name, member.document.cameras) for name, member in loaded.crew.items()),
    ]
    return tuple(
        SceneCamera(
            f"{owner}/{name}", camera.title or name.replace("_", " "), f"{owner}/{camera.frame}",
            View(camera.horizontal_view, camera.vertical_view, camera.pan, camera.tilt),
        )
        for owner, cameras in owners
        for name, camera in cameras.items()
        if any(matches(pattern, f"{owner}/{name}") for pattern in loaded.scenario.cameras_off) == off
    )


def whereabouts(scene: Scene, tree: Tree) -> dict[str, str]:
    """Return the class of every crewmember in a tree: rider, worker or inside."""
    found: dict[str, str] = {}
    for body, kind in zip(tree.bodies, scene.body_classes(tree), strict=True):
        owner = body.name.split("/", 1)[0]
        if owner in scene.loaded.crew:
            found[owner] = kind
    return found


def switched_on(scene: Scene, tree: Tree, cameras: tuple[SceneCamera, ...]) -> list[bool]:
    """Tell which cameras are outside: those of a crewmember inside see nothing."""
    where = whereabouts(scene, tree)
    return [where.get(camera.name.split("/", 1)[0]) != "inside" for camera in cameras]


def targets(scene: Scene, tree: Tree) -> tuple[Target, ...]:
    """Return what is to be watched: the tip, which hand and restraint show as well, and every rider at the chest."""
    hand = _fixed_to(tree, tree.index(scene.arm_tip))
    parts = [
        body.name
        for body in tree.bodies
        if body.name.startswith(f"{ARM}/") and _fixed_to(tree, tree.index(body.link)) == hand
    ]
    parts += [f"{name}/" for name in scene.restraints_on_arm(tree)]
    riders = (
        Target(crew, f"{crew}/{scene.loaded.crew[crew].document.chest}", (f"{crew}/",)) for crew in scene.aboard(tree)
    )
    return (Target(TIP, scene.arm_tip, tuple(parts)), *riders)


def _fixed_to(tree: Tree, row: int) -> int:
    """Return the row of the topmost link that fixed joints hold a link to."""
    while tree.kinds[row] == 0 and tree.parents[row] > 0:
        row = int(tree.parents[row])
    return row
