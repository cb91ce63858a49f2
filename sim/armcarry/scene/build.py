"""From loaded files to the scene at the start of a run."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from armcarry.files.documents.arm import LoadClass, LoadName
from armcarry.files.documents.platform import Mount
from armcarry.files.names import Named
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.scene.crew import FREE_JOINTS, with_free_base
from armcarry.scene.tree import WORLD, Tree

if TYPE_CHECKING:
    from armcarry.files.loaded import LoadedScenario

PLATFORM, VEHICLE, ARM, RESTRAINT = "platform", "vehicle", "arm", "restraint"


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything of a rehearsal where it stands at the start.

    Attributes:
        loaded: the documents and models.
        tree: the tree of frames at the start.
        position: the joint vector (n,) at the start, rad or m.
    """

    loaded: LoadedScenario
    tree: Tree
    position: Array

    @cached_property
    def arm_joints(self) -> tuple[str, ...]:
        """Full names of the arm's joints from base to tip."""
        return tuple(f"{ARM}/{joint}" for joint in self.loaded.arm.document.joints)

    @cached_property
    def arm_columns(self) -> np.ndarray:
        """Columns of the arm's joints in the joint vector."""
        return np.array([self.tree.column(joint) for joint in self.arm_joints])

    @property
    def arm_base(self) -> str:
        """Link that sits on the mount."""
        return f"{ARM}/{self.loaded.arm.document.base}"

    @property
    def arm_tip(self) -> str:
        """Link at the far end of the arm."""
        return f"{ARM}/{self.loaded.arm.document.tip}"

    def tool(self, tree: Tree) -> str:
        """Return the point a move steers when it names none: the restraint's plate if it is on the arm."""
        on_arm = self.restraint_on_arm(tree)
        return self.arm_tip if on_arm is None else self.plate(on_arm)

    def restraint_on_arm(self, tree: Tree) -> str | None:
        """Return the restraint at the arm's tip, None where there is none."""
        return next((name for name in self.loaded.restraints if tree.mounting(name).parent == self.arm_tip), None)

    def restraints_on_arm(self, tree: Tree) -> tuple[str, ...]:
        """Return the restraints that move with the arm, at its tip or in a rider's hands."""
        return tuple(name for name in self.loaded.restraints if tree.hangs_from(name, ARM))

    def plate(self, restraint: str) -> str:
        """Return the link that boots stand on."""
        return f"{restraint}/{self.loaded.restraints[restraint].document.plate}"

    def socket(self, name: str) -> str | None:
        """Return the frame of a seat or of a restraint's socket by the name a step gives it; None for another."""
        platform = self.loaded.platform.document
        if name == ARM:
            return self.arm_tip
        if name in platform.seats:
            return f"{PLATFORM}/{platform.seats[name].frame}"
        if name in self.loaded.hardware and self.loaded.hardware[name].document.holds is not None:
            return f"{name}/{self.loaded.hardware[name].document.base}"
        if any(name == site.socket for site in platform.worksites.values()):
            return f"{PLATFORM}/{name}"
        thing, _, link = name.partition("/")
        held = thing in self.loaded.hardware and self.loaded.hardware[thing].document.socket == link
        return name if held and link else None

    def aboard(self, tree: Tree) -> tuple[str, ...]:
        """Return the crewmembers who ride the arm."""
        return tuple(name for name in self.loaded.crew if tree.hangs_from(name, ARM))

    def carried(self, tree: Tree) -> tuple[str, ...]:
        """Return the hardware that moves with the arm, held by a rider or by the arm itself."""
        return tuple(name for name in self.loaded.hardware if tree.hangs_from(name, ARM))

    def brought_by(self, tree: Tree, item: str) -> str | None:
        """Return who brings an item off the arm, in the hands or on the own tether; None where nobody does."""
        afoot = [who for who in self.loaded.crew if item in self.loaded.hardware and not tree.hangs_from(who, ARM)]
        return next((who for who in afoot if tree.hangs_from(item, who)), None)

    def load(self, tree: Tree) -> tuple[LoadName, LoadClass]:
        """Return the name and limits of the load class that holds in this tree."""
        name: LoadName = "free"
        if self.carried(tree):
            name = "rider_and_hardware"
        elif self.aboard(tree):
            name = "rider"
        return name, self.loaded.arm.document.loads[name]

    def tip_speed_limit(self, tree: Tree, load: LoadClass) -> float:
        """Return how fast the tip may be with a load, and no faster than a rider may be moved when one is aboard."""
        return min(load.tip_speed, self.loaded.rules.rider_tip_speed) if self.aboard(tree) else load.tip_speed

    def arm_joints_behind(self, tree: Tree) -> np.ndarray:
        """Return how many of the arm's joints move each body (B,): 0 for what the arm does not carry."""
        arm = np.isin(tree.columns, self.arm_columns)
        count = {link: int(arm[list(tree.ancestry(link))].sum()) for link in {body.link for body in tree.bodies}}
        return np.array([count[body.link] for body in tree.bodies], dtype=np.int64)

    def body_classes(self, tree: Tree) -> tuple[str, ...]:
        """Return the class of every body of the tree as the rules name it.

        A crewmember is a rider on the arm, ``inside`` while at the airlock's frame, else a worker.
        Hardware is ``hardware`` also where it sits, so that whoever works on it is judged as such, and ``inside``
        with whoever brings it in.
        """
        patterns = tuple(self.loaded.platform.document.classes.get("appendage", []))
        by_instance = tuple(
            "" if m.instance == PLATFORM else self._instance_class(tree, m.instance) for m in tree.mountings
        )
        return _body_classes(tree, patterns, by_instance)

    @property
    def hatch(self) -> str | None:
        """The link at the hatch, from which everybody and everything inside hangs; None where there is none."""
        airlock = self.loaded.platform.document.airlock
        return None if airlock is None else f"{PLATFORM}/{airlock}"

    def is_inside(self, tree: Tree, instance: str) -> bool:
        """Tell whether a person or an item is inside, or is brought by somebody who is."""
        parent = tree.mounting(instance).parent
        holder = parent.split("/", 1)[0]
        return parent == self.hatch or (holder in self.loaded.crew and self.is_inside(tree, holder))

    def _instance_class(self, tree: Tree, instance: str) -> str:
        if instance in self.loaded.crew:
            if tree.hangs_from(instance, ARM):
                return "rider"
            return "inside" if self.is_inside(tree, instance) else "worker"
        if instance in self.loaded.hardware:
            return "inside" if self.is_inside(tree, instance) else "hardware"
        if instance in self.loaded.restraints:
            return "arm" if tree.hangs_from(instance, ARM) else "structure"
        return {PLATFORM: "structure", VEHICLE: "vehicle", ARM: "arm"}[instance]

    def trailing(self, who: str) -> tuple[str, Array | None]:
        """Return the link behind which an item trails on a person's tether, and T_link_handhold, turned away.

        Where the crew document does not say how far behind, it is the hands' frame, and no pose.
        """
        crew = self.loaded.crew[who].document
        if crew.trails is None:
            return f"{who}/{crew.hands}", None
        turned = poses.rotation_about(np.array([0.0, 0.0, 1.0]), np.pi)
        return f"{who}/{crew.chest}", poses.translation((-crew.trails, 0.0, 0.0)) @ turned

    def meeting_frame(self, instance: str, parent: str) -> str:
        """Return the frame of a thing that meets a link: boots, handhold in hands, base at a seat, mount."""
        if instance in self.loaded.crew:
            return f"{instance}/free"
        if instance in self.loaded.hardware:
            document = self.loaded.hardware[instance].document
            held = parent.split("/", 1)[0] in self.loaded.crew
            return f"{instance}/{document.handhold if held else document.base}"
        if instance in self.loaded.restraints:
            return f"{instance}/{self.loaded.restraints[instance].document.mount}"
        return f"{instance}/{self.tree.mounting(instance).model.root}"


@lru_cache(maxsize=64)
def _body_classes(tree: Tree, patterns: tuple[str, ...], by_instance: tuple[str, ...]) -> tuple[str, ...]:
    """Return the class of every body; '' among ``by_instance`` is the platform, whose bodies have their own."""
    found: list[str] = []
    for mounting, kind in zip(tree.mountings, by_instance, strict=True):
        bodies = mounting.model.bodies
        found += [kind] * len(bodies) if kind else _platform_classes(tuple(body.name for body in bodies), patterns)
    return tuple(found)


@lru_cache(maxsize=16)
def _platform_classes(names: tuple[str, ...], patterns: tuple[str, ...]) -> tuple[str, ...]:
    """Return the class of each body of the platform: one that fits a pattern is of an appendage."""
    known = Named(names)
    appendages: set[int] = set().union(*(known.fitting(pattern) for pattern in patterns))
    return tuple("appendage" if row in appendages else "structure" for row in range(len(names)))


def build_scene(loaded: LoadedScenario) -> Scene:
    """Place everything a scenario names and set every joint to where it starts.

    Raises:
        FrameError: a name that the models do not have (files/load.py has checked those of the script).
    """
    tree = _place_platform(loaded)
    tree = tree.place(ARM, loaded.arm.model, f"{PLATFORM}/{_mount(loaded).frame}")
    for name, restraint in loaded.restraints.items():
        tree = tree.place(name, restraint.model)
    for name, member in loaded.crew.items():
        tree = tree.place(name, with_free_base(member.model, member.document.boots))
    for name, item in loaded.hardware.items():
        tree = tree.place(name, item.model)
    position = _start_position(loaded, tree)
    scene = Scene(loaded, tree, position)
    return Scene(loaded, _hang(scene), position)


def hang(
    scene: Scene, tree: Tree, instance: str, parent: str, position: Array, pose: Array | None = None
) -> Tree:
    """Return the tree with a thing's meeting frame brought exactly to a link, or to a pose (4, 4) in it."""
    root = f"{instance}/{tree.mounting(instance).model.root}"
    meeting = tree.pose_of(scene.meeting_frame(instance, parent), position, relative_to=root)
    return tree.attach(instance, parent, (poses.identity() if pose is None else pose) @ poses.inverse(meeting))


def _mount(loaded: LoadedScenario) -> Mount:
    return loaded.platform.document.mounts[loaded.scenario.base.mount]


def _place_platform(loaded: LoadedScenario) -> Tree:
    tree = Tree().place(PLATFORM, loaded.platform.model)
    if loaded.vehicle_model is not None:
        model = loaded.vehicle_model
        model = with_free_base(model, model.root) if _vehicle_moves(loaded) else model
        tree = tree.place(VEHICLE, model, f"{PLATFORM}/{loaded.platform.document.vehicle_dock}")
    return tree


def _vehicle_moves(loaded: LoadedScenario) -> bool:
    steps = loaded.scenario.day.steps if loaded.scenario.day is not None else []
    return loaded.scenario.vehicle_from is not None or any(step.move_vehicle is not None for step in steps)


def _start_position(loaded: LoadedScenario, tree: Tree) -> Array:
    script, platform = loaded.scenario, loaded.platform.document
    values: dict[str, float] = {}
    for name, appendage in platform.appendages.items():
        state = script.appendages.get(name) or next(iter(appendage.states))
        values.update({f"{PLATFORM}/{joint}": value for joint, value in appendage.states[state].items()})
    if loaded.vehicle_model is not None and script.vehicle_from is not None:
        values |= {f"{VEHICLE}/{joint}": at for joint, at in zip(FREE_JOINTS[:3], script.vehicle_from, strict=True)}
    for name, station in script.carts.items():
        values[f"{PLATFORM}/{platform.carts[name].joint}"] = station
    mount = _mount(loaded)
    if mount.joint is not None and script.base.station is not None:
        values[f"{PLATFORM}/{mount.joint}"] = script.base.station
    values.update({f"{ARM}/{joint}": value for joint, value in loaded.arm.document.home.items()})
    values.update({f"{ARM}/{joint}": value for joint, value in script.start_joints.items()})
    for name, restraint in script.all_restraints.items():
        for setting, angle in restraint.settings.items():
            values[f"{name}/{loaded.restraints[name].document.settings[setting].joint}"] = angle
    for name, member in loaded.crew.items():
        posture = member.document.postures[script.crew[name].posture]
        values.update({f"{name}/{joint}": value for joint, value in posture.items()})
    for name, item in loaded.hardware.items():
        values.update({f"{name}/{joint}": value for joint, value in item.document.rest.items()})
        for fastener, state in script.hardware[name].fasteners.items():
            rule = item.document.fasteners[fastener]
            value = rule.open if state == "open" else rule.closed
            if rule.joint is not None and value is not None:
                values[f"{name}/{rule.joint}"] = value
    position = np.zeros(len(tree.joints))
    for joint, value in values.items():
        position[tree.column(joint)] = value
    for mounting in tree.mountings:  # what nobody sets and follows another
        for one in mounting.model.movable():
            name, follows = f"{mounting.instance}/{one.name}", one.follows
            if follows is not None and name not in values:
                leader = position[tree.column(f"{mounting.instance}/{follows.joint}")]
                position[tree.column(name)] = follows.factor * leader + follows.offset
    return position


def _hang(scene: Scene) -> Tree:
    """Hang restraint, crew and hardware where the script says they start."""
    script, tree, position = scene.loaded.scenario, scene.tree, scene.position
    where: dict[str, str] = {}
    for name, restraint in script.all_restraints.items():
        where[name] = scene.arm_tip if restraint.at == "arm" else restraint.at
    for name, member in script.crew.items():
        if member.at == "arm" and scene.loaded.restraint is not None:
            where[name] = f"{RESTRAINT}/{scene.loaded.restraint.document.plate}"
        elif member.at == "inside":
            where[name] = scene.hatch or WORLD
        else:
            where[name] = member.at
    inside = scene.hatch or WORLD
    where.update({name: inside if item.at == "inside" else item.at for name, item in script.hardware.items()})
    for instance, parent in where.items():
        tree = hang(scene, tree, instance, parent, position)
    return tree


__all__ = ["ARM", "FREE_JOINTS", "PLATFORM", "RESTRAINT", "VEHICLE", "Scene", "build_scene", "hang"]
