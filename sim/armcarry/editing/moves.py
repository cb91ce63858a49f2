"""What may be done to the moves of a script, each as one change: waypoints, rates, via points, branches, places."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from armcarry.editing.script import Change, Op, Script, told
from armcarry.errors import InputError
from armcarry.files.plain import key_steps, plain
from armcarry.geometry import poses
from armcarry.geometry.poses import Array

if TYPE_CHECKING:
    from pathlib import Path

    from armcarry.editing.answer import Answer, Flown

#: digits of a length, m, and of an angle, deg, as they are written
_LENGTH, _ANGLE = 4, 3
#: kinds of move that lead somewhere
LEADING = ("line", "to_pose", "to_worksite", "to_joints", "one_joint")


def length(value_m: float) -> str:
    """Return a length as a script writes it."""
    return f"{round(value_m, _LENGTH) + 0.0:g} m"


def angle(value_rad: float) -> str:
    """Return an angle as a script writes it."""
    return f"{round(float(np.degrees(value_rad)), _ANGLE) + 0.0:g} deg"


class Moves:
    """The acts of a session; ``Session`` gives it what it acts on.

    A move is named by carry and number in the script, both from 0, or by its ``Flown``.
    """

    script: Script
    answer: Answer
    path: Path

    def change(self, change: Change) -> Answer:
        """Make a change."""
        raise NotImplementedError

    # -- finding -----------------------------------------------------------------------------------------------------

    @property
    def moves(self) -> tuple[tuple[int, int], ...]:
        """Every move that the script writes, in order: carry and number, from 0."""
        return tuple(
            (k, n) for k, carry in enumerate(self.script.data.get("carries", []))
            for n in range(len(carry.get("moves", [])))
        )  # fmt: skip

    def move(self, at: tuple[int, int]) -> dict[str, Any]:
        """Return what the script says of a move. Raises InputError where there is none."""
        try:
            if min(at) < 0:
                raise IndexError
            return dict(self.script.data["carries"][at[0]]["moves"][at[1]])
        except (KeyError, IndexError, TypeError):
            raise InputError("no such move", found=f"carry {at[0]}, move {at[1]}", file=self.path) from None

    def title(self, at: tuple[int, int]) -> str:
        """Return what a move is called."""
        move = self.move(at)
        return str(move.get("name") or f"move {at[1] + 1}")

    def kind(self, at: tuple[int, int]) -> str:
        """Return which kind a move is of."""
        from armcarry.files.documents.carries import INTENT_KINDS, MOVE_KINDS

        return next((kind for kind in (*MOVE_KINDS, *INTENT_KINDS) if kind in self.move(at)), "")

    def flown(self, at: tuple[int, int]) -> tuple[Flown, ...]:
        """Return what became of a move in the run: one, or those that followed from an intent."""
        return tuple(move for move in self.answer.moves if move.written == at)

    def end_s(self, at: tuple[int, int]) -> float:
        """Return when a move ends. Raises InputError for one that is not flown."""
        flown = self.flown(at)
        if not flown:
            raise InputError(f"'{self.title(at)}' is not flown: the run ends before it", file=self.path)
        return flown[-1].end_s

    # -- changing ----------------------------------------------------------------------------------------------------

    def set(self, key: str, value: Any, title: str = "") -> Answer:
        """Set a key such as ``carries.0.moves.9.line.to`` or ``base.station``; None takes it away."""
        path, value = tuple(key_steps(key)), plain(value)
        op = Op("remove", path) if value is None else Op("set", path, value)
        return self.change(Change(title or f"{key}: {told(value)}", (op,)))

    def put(self, at: tuple[int, int], value: Mapping[str, Any], title: str) -> Answer:
        """Write a move anew."""
        self.move(at)
        return self.change(Change(f"{self.title(at)}: {title}", (Op("set", _path(at), plain(value)),)))

    def option(self, at: tuple[int, int], key: str, value: Any, title: str = "") -> Answer:
        """Set an option of a move (rate, tip_speed, via, pin, way, say, name, relax); None takes it away."""
        if value is None and key not in self.move(at):
            return self.answer
        op = Op("remove", (*_path(at), key)) if value is None else Op("set", (*_path(at), key), plain(value))
        words = title or (f"without {key}" if value is None else f"{key} {told(plain(value))}")
        return self.change(Change(f"{self.title(at)}: {words}", (op,)))

    def add(self, at: tuple[int, int], move: Mapping[str, Any]) -> Answer:
        """Put a move before another; one past the last puts it behind all."""
        words = told(plain(move))
        return self.change(Change(f"new move: {words}", (Op("insert", _path(at), plain(move)),)))

    def remove(self, at: tuple[int, int]) -> Answer:
        """Take a move away."""
        self.move(at)
        return self.change(Change(f"{self.title(at)}: taken away", (Op("remove", _path(at)),)))

    def split(self, at: tuple[int, int]) -> Answer:
        """Cut a move in two where it is half way: the first half is a new move before it, of the same kind."""
        move, kind = self.move(at), self.kind(at)
        flown = self.flown(at)
        if kind not in LEADING or len(flown) != 1:
            raise InputError(f"'{self.title(at)}' cannot be cut in two", file=self.path, found=kind,
                             accepted="a line, or a move to a pose, a worksite or joint positions")  # fmt: skip
        middle = (flown[0].start_s + flown[0].end_s) / 2
        half = {key: value for key, value in move.items() if key in ("rate", "tip_speed", "relax")}
        if kind == "line":
            line = {key: value for key, value in move["line"].items() if key not in ("to", "by", "rotation")}
            place = self._place(middle, str(line["frame"]), line.get("point"), "rotation" in move["line"])
            half["line"] = {**line, **place}
        else:
            half["to_joints"] = self.joints_written(middle)
        ops = [Op("insert", _path(at), half)]
        if kind == "line" and "by" in move["line"]:  # half of the way is gone when it begins
            rest = {key: value for key, value in move["line"].items() if key != "by"}
            rest |= self._place(flown[0].end_s, str(rest["frame"]), rest.get("point"), "rotation" in rest)
            ops.append(Op("set", (*_path((at[0], at[1] + 1)), "line"), rest))
        return self.change(Change(f"{self.title(at)}: cut in two", tuple(ops)))

    # -- waypoints ---------------------------------------------------------------------------------------------------

    def tool_pose(self, time_s: float, frame: str = "world", point: str | None = None) -> Array:
        """Return T_frame_tool (4, 4) at an instant, or of another point."""
        record = self.answer.record
        tree = record.phase_at(time_s).tree
        link = record.scene.tool(tree) if point is None else point
        return tree.pose_of(link, record.motion.at(time_s), relative_to=frame)

    def joints(self, time_s: float) -> dict[str, float]:
        """Return the position of every joint of the arm at an instant, by its name in the arm, rad or m."""
        scene, position = self.answer.record.scene, self.answer.record.motion.at(time_s)
        return {
            name: float(position[column])
            for name, column in zip(scene.loaded.arm.document.joints, scene.arm_columns, strict=True)
        }

    def joints_written(self, time_s: float) -> dict[str, str]:
        """Return the same as a script writes it."""
        return {name: self._joint(name, value) for name, value in self.joints(time_s).items()}

    def _joint(self, name: str, value: float) -> str:
        scene = self.answer.record.scene
        turns = bool(scene.tree.revolute[scene.tree.column(f"arm/{name}")])
        return angle(value) if turns else length(value)

    def _place(self, time_s: float, frame: str, point: str | None, turned: bool) -> dict[str, Any]:
        pose = self.tool_pose(time_s, frame, point)
        place: dict[str, Any] = {"to": [length(value) for value in pose[:3, 3]]}
        if turned:
            place["rotation"] = [angle(value) for value in poses.rpy(pose)]
        return place

    def frame(self, at: tuple[int, int]) -> str:
        """Return the frame in which the waypoint of a move is written; of others, the nearest worksite's."""
        move = self.move(at)
        for key in ("line", "to_pose"):
            if key in move and "frame" in move[key]:
                return str(move[key]["frame"])
        record, time_s = self.answer.record, self.end_s(at)
        here = self.tool_pose(time_s)[:3, 3]
        tree, position = record.phase_at(time_s).tree, record.motion.at(time_s)
        stands = [f"platform/{site.stand}" for site in record.scene.loaded.platform.document.worksites.values()]
        return min(
            stands, key=lambda frame: float(np.linalg.norm(tree.pose_of(frame, position)[:3, 3] - here)),
            default="world",
        )  # fmt: skip

    def waypoint(self, at: tuple[int, int]) -> Array:
        """Return where a move ends, T_frame_tool (4, 4) in its ``frame``."""
        move = self.move(at)
        point = next((move[key].get("point") for key in ("line", "to_pose") if key in move), None)
        return self.tool_pose(self.end_s(at), self.frame(at), point)

    def place(
        self,
        at: tuple[int, int],
        position_m: Sequence[float] | Array,
        rotation_rad: Sequence[float] | Array | None = None,
    ) -> Answer:
        """Set where a move ends, in its ``frame``; with a rotation (roll, pitch, yaw) also how it is turned.

        A move to joint positions or to a worksite becomes one to a pose.
        """
        return self.change(self.placed(at, position_m, rotation_rad))

    def placed(
        self,
        at: tuple[int, int],
        position_m: Sequence[float] | Array,
        rotation_rad: Sequence[float] | Array | None = None,
    ) -> Change:
        """Return the change that ``place`` makes."""
        move, kind = self.move(at), self.kind(at)
        if kind not in LEADING:
            problem = f"'{self.title(at)}' leads nowhere"
            raise InputError(problem, file=self.path, found=kind, accepted=", ".join(LEADING))
        to = [length(value) for value in position_m]
        turned = None if rotation_rad is None else [angle(value) for value in rotation_rad]
        if kind == "line":
            line = {key: value for key, value in move["line"].items() if key != "by"} | {"to": to}
            new = {"line": line if turned is None else {**line, "rotation": turned}}
        else:
            old = move.get("to_pose") or {"frame": self.frame(at)}
            turn = turned or old.get("rotation") or [angle(value) for value in poses.rpy(self.waypoint(at))]
            new = {"to_pose": {**old, "position": to, "rotation": turn}}
        kept = {key: value for key, value in move.items() if key not in (kind, "via")}
        where = ", ".join(to)
        words = f"to {where}" + ("" if turned is None else f" turned {', '.join(turned)}")
        return Change(f"{self.title(at)}: {words}", (Op("set", _path(at), plain({**kept, **new})),))

    def shift(self, at: tuple[int, int], by_m: Sequence[float]) -> Answer:
        """Move where a move ends along the axes of its frame."""
        return self.place(at, self.waypoint(at)[:3, 3] + np.asarray(by_m, dtype=float))

    def turn(self, at: tuple[int, int], by_rad: Sequence[float]) -> Answer:
        """Turn how a move ends by roll, pitch and yaw about the axes of its frame."""
        pose = self.waypoint(at)
        pose[:3, :3] = poses.from_xyz_rpy((0, 0, 0), tuple(by_rad))[:3, :3] @ pose[:3, :3]
        return self.place(at, pose[:3, 3], poses.rpy(pose))

    def snap(self, at: tuple[int, int], step_m: float = 0.1) -> Answer:
        """Bring where a move ends to whole steps along the axes of its frame, and its turn to the nearest axes."""
        pose = self.waypoint(at)
        turn = np.round(np.array(poses.rpy(pose)) / (np.pi / 2)) * (np.pi / 2)
        return self.place(at, np.round(pose[:3, 3] / step_m) * step_m, tuple(turn))

    def set_joints(self, at: tuple[int, int], joints: Mapping[str, float]) -> Answer:
        """Have a move end at joint positions, rad or m by the joint's name; the others stay where they end now.

        The move becomes one to joint positions.
        """
        now = self.joints(self.end_s(at))
        for name in joints:
            if name not in now:
                raise InputError("no such joint of the arm", found=name, accepted=", ".join(now))
        written = {name: self._joint(name, value) for name, value in {**now, **joints}.items()}
        kept = {key: value for key, value in self.move(at).items() if key != self.kind(at)}
        words = ", ".join(f"{name} {self._joint(name, value)}" for name, value in joints.items())
        return self.put(at, {**kept, "to_joints": written}, words)

    def straighten(self, at: tuple[int, int]) -> Answer:
        """Make a move a straight line to where it ends now."""
        place, frame = self._place(self.end_s(at), self.frame(at), None, True), self.frame(at)
        kept = {key: value for key, value in self.move(at).items() if key not in (self.kind(at), "via", "way")}
        return self.put(at, {**kept, "line": {"frame": frame, **place}}, "a straight line")


def _path(at: tuple[int, int]) -> tuple[str | int, ...]:
    return ("carries", at[0], "moves", at[1])
