"""Rooms of the platform as convex bodies beside all others, and of which bodies each asks what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.asked.pairs import TOUCH_M, UNJUDGED
from armcarry.asked.requirement import Asked
from armcarry.files.documents.rooms import Room
from armcarry.files.names import matches
from armcarry.geometry import poses
from armcarry.geometry.model import Body, Model
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Box, ConvexMesh, Cylinder, Shape, Sphere
from armcarry.scene.build import PLATFORM, Scene
from armcarry.scene.tree import Tree

#: walls beside a way are this thick; what passes one is in it at some instant, however thin it is, m
WALL_M = 0.1
#: sides of the prism about a cone
SIDES = 32
#: why something is asked of a body and a room
ROOM = "a room of the platform"


@dataclass(frozen=True, eq=False)
class AskedRooms:
    """Rooms in one tree.

    Attributes:
        tree: with the rooms' bodies behind all others.
        pairs: (P, 2) rows of a body and of a room's body.
        room: (P,) row of the room among the platform's.
        required_m: (P,) distance to be kept.
    """

    tree: Tree
    pairs: np.ndarray
    room: np.ndarray
    required_m: Array

    def asked(self, start_s: float, end_s: float, rows: np.ndarray, remainder_m: float) -> Asked:
        """Return some of the pairs as they are asked over a stretch of time.

        What must be left after a fault is what it must leave of anything, ``remainder_m``, but no more than the room
        asks for, and no contact.
        """
        required, none = self.required_m[rows], np.full(len(rows), -1)
        left = np.maximum(np.minimum(remainder_m, required), TOUCH_M)
        why = np.full(len(rows), ROOM, dtype=object)
        return Asked(start_s, end_s, self.pairs[rows], required, why, none, none == 0, left)


def asked_rooms(scene: Scene, tree: Tree) -> AskedRooms:
    """Return what the platform's rooms ask of the bodies of a tree.

    Nobody inside is asked, nor hardware that sits in a seat of the platform: it was put there.
    """
    rooms = scene.loaded.platform.document.rooms
    names, classes = [body.name for body in tree.bodies], scene.body_classes(tree)
    seats = {f"{PLATFORM}/{seat.frame}" for seat in scene.loaded.platform.document.seats.values()}
    seated = {name for name in scene.loaded.hardware if tree.mounting(name).parent in seats}
    able = [owned not in UNJUDGED and name.split("/", 1)[0] not in seated
            for name, owned in zip(names, classes, strict=True)]  # fmt: skip
    whole, pairs, which = tree, list[tuple[int, int]](), list[int]()
    for k, (name, room) in enumerate(rooms.items()):
        whole = whole.place(f"room {name}", _model(name, room), f"{PLATFORM}/{room.frame}", pose_of(room))
        asked = [row for row, body in enumerate(names)
                 if able[row] and (matches(room.asked_of, classes[row]) or matches(room.asked_of, body))]  # fmt: skip
        first = len(names) + sum(len(parts_of(one)) for one in list(rooms.values())[:k])
        new = [(row, first + part) for row in asked for part in range(len(parts_of(room)))]
        pairs += new
        which += [k] * len(new)
    room_of = np.array(which, dtype=np.int64)
    least = np.array([room.at_least for room in rooms.values()])
    return AskedRooms(whole, np.array(pairs, dtype=np.int64).reshape(-1, 2), room_of, least[room_of])


def arm_rooms(scene: Scene, tree: Tree) -> AskedRooms:
    """Return what the rooms ask of the bodies that the arm's joints move: of a way, whenever it is flown.

    Rooms that speak of something that is switched off all through are left out; bodies must not touch a room that
    asks for no distance.
    """
    rooms, off = scene.loaded.platform.document.rooms, scene.loaded.scenario.switched_off
    if not rooms:
        none = np.zeros(0, dtype=np.int64)
        return AskedRooms(tree, np.zeros((0, 2), dtype=np.int64), none, none.astype(float))
    asked = asked_rooms(scene, tree)
    never = [one.while_on in off and off[one.while_on].after is None and off[one.while_on].before is None
             for one in rooms.values()]  # fmt: skip
    moved = scene.arm_joints_behind(tree) > 0
    rows = moved[asked.pairs[:, 0]] & ~np.array(never)[asked.room]
    return AskedRooms(asked.tree, asked.pairs[rows], asked.room[rows], np.maximum(asked.required_m[rows], TOUCH_M))


def parts_of(room: Room) -> list[tuple[Shape, Array]]:
    """Return the convex parts of a room, each with its pose (4, 4) in the room: itself, or the four walls of a way."""
    if room.kind == "way_along" and room.box is not None:
        x, y, z = room.box
        beside = Box((x, WALL_M, z + 2 * WALL_M))
        above = Box((x, y + 2 * WALL_M, WALL_M))
        return [
            (wall, poses.translation((0.0, side * across, side * up)))
            for wall, across, up in ((beside, (y + WALL_M) / 2, 0.0), (above, 0.0, (z + WALL_M) / 2))
            for side in (1.0, -1.0)
        ]
    if room.box is not None:
        return [(Box(room.box), poses.identity())]
    radius = room.radius or 0.0
    if room.length is None:
        return [(Sphere(radius), poses.identity())]
    if room.end_radius is None:
        return [(Cylinder(radius, room.length), poses.translation((0.0, 0.0, room.length / 2)))]
    return [(_cone(radius, room.end_radius, room.length), poses.identity())]


def _cone(radius_m: float, end_radius_m: float, length_m: float) -> ConvexMesh:
    """Return a prism that surely encloses a cone along z, or what is left of one whose point is cut off."""
    angle = np.arange(SIDES) * 2 * np.pi / SIDES
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) / np.cos(np.pi / SIDES)
    ends = [np.column_stack([ring * size, np.full(SIDES, along)])
            for size, along in ((radius_m, 0.0), (end_radius_m, length_m))]  # fmt: skip
    return ConvexMesh.hull_of(np.unique(np.concatenate(ends), axis=0))


def pose_of(room: Room) -> Array:
    """Return where a room is in its frame (4, 4)."""
    return poses.from_xyz_rpy(room.position, room.rotation)


def _model(name: str, room: Room) -> Model:
    bodies = tuple(Body(f"part_{k}", "room", shape, pose) for k, (shape, pose) in enumerate(parts_of(room)))
    return Model(f"room {name}", "room", ("room",), (), bodies)
