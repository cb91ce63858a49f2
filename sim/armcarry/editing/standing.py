"""How a move is made, and what stands where: via points, pins, branches, the base, the restraint, appendages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from armcarry.editing.moves import Moves, angle, length
from armcarry.editing.script import Change, Op
from armcarry.errors import InputError
from armcarry.files.documents.scenario import ANY_MOUNT

if TYPE_CHECKING:
    from armcarry.editing.answer import Answer

#: kinds of move that go to where they lead on a branch of their own
FREE = ("to_pose", "to_worksite", "to_joints")


@dataclass(frozen=True)
class Branch:
    """Another way for the arm to hold its tool at a waypoint: joints by name, rad or m, and room beyond the rules."""

    joints: Mapping[str, float]
    left_m: float


class Standing(Moves):
    """More acts of a session."""

    # -- how a move is made ------------------------------------------------------------------------------------------

    def via(self, at: tuple[int, int], joints: Mapping[str, float], number: int | None = None) -> Answer:
        """Have a move to joint positions round a point, rad or m by joint; the others are held there.

        Args:
            at: the move.
            joints: of the point.
            number: of the point that it replaces, from 0; None puts it behind the others.
        """
        self._leads_to_joints(at)
        known = self.joints(self.end_s(at))
        for name in joints:
            if name not in known:
                raise InputError("no such joint of the arm", found=name, accepted=", ".join(known))
        points = list(self.move(at).get("via", []))
        here = len(points) if number is None else number
        if not 0 <= here <= len(points):
            raise InputError("no such via point", found=str(number), accepted=f"0 to {len(points)}")
        points[here : here + 1] = [{name: self._joint(name, value) for name, value in joints.items()}]
        return self.option(at, "via", points, f"via point {here + 1}")

    def without_via(self, at: tuple[int, int], number: int) -> Answer:
        """Take a via point away, counted from 0."""
        points = list(self.move(at).get("via", []))
        if not 0 <= number < len(points):
            raise InputError("no such via point", found=str(number), accepted=f"0 to {len(points) - 1}")
        del points[number]
        return self.option(at, "via", points or None, f"without via point {number + 1}")

    def _leads_to_joints(self, at: tuple[int, int]) -> None:
        if self.kind(at) != "to_joints":
            raise InputError(f"'{self.title(at)}' has no via points", file=self.path, found=self.kind(at),
                             accepted="a move to joint positions")  # fmt: skip

    def pin(self, at: tuple[int, int], joint: str, value: float | None = None) -> Answer:
        """Hold a joint at a value while a move is made, rad or m; None where it is at its end now."""
        known = self.joints(self.end_s(at))
        if joint not in known:
            raise InputError("no such joint of the arm", found=joint, accepted=", ".join(known))
        written = self._joint(joint, known[joint] if value is None else value)
        return self.option(at, "pin", {**self.move(at).get("pin", {}), joint: written}, f"{joint} held at {written}")

    def without_pin(self, at: tuple[int, int], joint: str) -> Answer:
        """Let a joint go that a move holds."""
        pins = {name: value for name, value in self.move(at).get("pin", {}).items() if name != joint}
        return self.option(at, "pin", pins or None, f"{joint} no longer held")

    def branches(self, at: tuple[int, int]) -> tuple[Branch, ...]:
        """Return the other branches of the arm for where a move ends, the one with most room first."""
        from armcarry.whatif.branches import branches_at

        found, left = branches_at(self.answer.record, self.end_s(at))
        names = list(self.joints(self.end_s(at)))
        made = [Branch(dict(zip(names, row, strict=True)), float(room))
                for row, room in zip(found.tolist(), left, strict=True)]  # fmt: skip
        return tuple(sorted(made, key=lambda one: -one.left_m))

    def take_branch(self, at: tuple[int, int], branch: Branch) -> Answer:
        """Have a free move end on another branch: it becomes one to joint positions."""
        if self.kind(at) not in FREE:
            raise InputError(f"'{self.title(at)}' stays on its branch", file=self.path, found=self.kind(at),
                             accepted=", ".join(FREE))  # fmt: skip
        return self.set_joints(at, branch.joints)

    # -- what stands where -------------------------------------------------------------------------------------------

    @property
    def stands(self) -> dict[str, Any]:
        """What stands where at the start: ``station`` (m, None without a rail), ``settings`` (rad), ``appendages``."""
        scenario, loaded = self.answer.record.scene.loaded.scenario, self.answer.record.scene.loaded
        settings = {} if loaded.restraint is None or scenario.restraint is None else {
            name: float(scenario.restraint.settings.get(name, 0.0)) for name in loaded.restraint.document.settings
        }  # fmt: skip
        states = {name: str(scenario.appendages.get(name, next(iter(one.states))))
                  for name, one in loaded.platform.document.appendages.items()}  # fmt: skip
        return {"station": scenario.base.station, "settings": settings, "appendages": states}

    def station(self, station_m: float) -> Answer:
        """Put the base elsewhere along its rail."""
        base = self.script.data.get("base") or {}
        mount = base.get("mount", ANY_MOUNT)
        now = self.answer.record.scene.loaded.scenario.base.mount if mount == ANY_MOUNT else mount
        op = Op("set", ("base",), {**base, "mount": now, "station": length(station_m)})
        return self.change(Change(f"base at {length(station_m)}", (op,)))

    def setting(self, name: str, value_rad: float) -> Answer:
        """Set an adjustment of the foot restraint."""
        if self.script.data.get("restraint") is None:
            raise InputError("the script has no restraint", file=self.path)
        settings = {**self.script.data["restraint"].get("settings", {}), name: angle(value_rad)}
        op = Op("set", ("restraint", "settings"), settings)
        return self.change(Change(f"restraint {name} {angle(value_rad)}", (op,)))

    def appendage(self, name: str, state: str) -> Answer:
        """Have an appendage of the platform stand in another state at the start."""
        states = {**self.script.data.get("appendages", {}), name: state}
        return self.change(Change(f"{name} {state}", (Op("set", ("appendages",), states),)))
