"""The arm under hand commands: resolved rates, ramps, soft stops, brakes and faults, one tick after another.

Tip motion is turned into joint rates by damped least squares (Nakamura and Hanafusa 1986): the damping grows from
zero where the smallest singular value falls under twice what the rules ask. What the seventh joint leaves free
goes away from the ends of travel and from what is close. Every number depends on the state and the command
alone, so the same commands give the same flight.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from armcarry.checks.grasp import NEAR_M, NEAR_RAD
from armcarry.errors import MotionError
from armcarry.files.documents.arm import LoadClass
from armcarry.geometry.poses import Array, rotation_vector
from armcarry.handfly.command import TICK_S, Command
from armcarry.handfly.course import Course
from armcarry.handfly.resolve import Closeness, ramped, resolved
from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import pose_and_jacobian
from armcarry.scene.build import PLATFORM, Scene
from armcarry.scene.limits import brake_decelerations, joint_accelerations, joint_rates
from armcarry.scene.tree import WORLD
from armcarry.timeline.moves import still_goal, switch

#: share of the limits that the controls use: between two ticks a curved path is a little faster than at them
HEADROOM = 0.98
#: share of all speeds with fine control
FINE = 0.2
#: turning speed of the tool at full deflection, shared with no document: a hand's breadth a second at 1 m; rad/s
TURN_RATE = 0.03
#: how the script is run up and down, 1/s^2 of its own time
_SCRIPT_RAMP = 0.5


@dataclass(frozen=True)
class Fault:
    """Something that goes wrong at a tick: a joint runs away, the brakes come late, or a camera goes dark."""

    kind: str
    tick: int
    joint: int = 0
    rate: float = 0.0
    late_s: float = 0.0
    camera: str = ""


class Pilot:
    """The arm, moved tick by tick.

    Attributes:
        tree, position: what hangs where, and the whole joint vector (n,).
        rate: (k,) rates of the arm's joints.
        tick: ticks so far.
        leg: the leg of the course that is flown.
        braking: since which tick the brakes bite; None while they do not.
    """

    def __init__(self, scene: Scene, course: Course) -> None:
        self.scene, self.course = scene, course
        self.columns = scene.arm_columns
        self.tree, self.position = scene.tree, scene.position.copy()
        self.rate = np.zeros(len(self.columns))
        self.tick, self.leg = 0, 0
        self.asked: int | None = None
        self.fault: Fault | None = None
        self._over = False
        self.script_s, self._script_speed = course.record.motion.start_s, 0.0
        self._turning: tuple[Array, Array, int, int] | None = None
        self._load()
        self.leg = course.on_from(0, self.tool_pose()[:3, 3])

    # -- what it is ----------------------------------------------------------------------------

    def _load(self) -> None:
        arm = self.scene.loaded.arm.document
        load: LoadClass = self.scene.load(self.tree)[1]
        self.load = load
        self.tool = self.scene.tool(self.tree)
        self.chain = Chain.of(self.tree, WORLD, self.tool, joints=self.scene.arm_joints, held=self.position)
        self.rates = joint_rates(arm, load)
        self.accelerations = joint_accelerations(arm, load)
        self.brakes = brake_decelerations(arm, load)
        self.tip_speed = self.scene.tip_speed_limit(self.tree, load)

    @property
    def q(self) -> Array:
        """Positions of the arm's joints (k,)."""
        return np.asarray(self.position[self.columns])

    @property
    def time_s(self) -> float:
        """Seconds flown."""
        return self.tick * TICK_S

    @property
    def resting(self) -> bool:
        """Whether the arm stands still."""
        return not self.rate.any()

    def tool_pose(self) -> Array:
        """Return T_world_tool (4, 4)."""
        return self.chain.forward(self.q)

    def axes(self, frame: str) -> Array:
        """Return the axes (3, 3) that a frame's pushes and turns are in, as columns in the world.

        ``rider`` is the chest of the first rider, ``camera`` the arm's first camera; where there is none, the tip.
        """
        link = self.tool
        aboard = self.scene.aboard(self.tree)
        cameras = self.scene.loaded.arm.document.cameras
        if frame == "platform":
            link = f"{PLATFORM}/{self.tree.mounting(PLATFORM).model.root}"
        elif frame == "rider" and aboard:
            link = f"{aboard[0]}/{self.scene.loaded.crew[aboard[0]].document.chest}"
        elif frame == "camera" and cameras:
            link = f"arm/{next(iter(cameras.values())).frame}"
        return np.asarray(self.tree.pose_of(link, self.position)[:3, :3])

    @property
    def runs_away(self) -> bool:
        """Whether a joint runs away now; the brakes end that for good."""
        fault = self.fault
        return fault is not None and fault.kind == "runaway" and self.tick >= fault.tick and not self._over

    # -- one tick ------------------------------------------------------------------------------

    def step(self, command: Command, close: Closeness) -> None:
        """Move on by one tick.

        Args:
            command: what is asked for.
            close: what is close now, as ``live`` measured it before this tick.
        """
        before, was = self.rate, self.q
        if command.brake and self.asked is None:
            self.asked = self.tick
        if self.asked is not None:
            moved, self.rate = self._braked(was, before)
            self._over |= self.resting and self.tick > self.asked and self.runs_away
            if not command.brake and self.resting and self.tick > self.asked:
                self.asked = None
        elif command.mode == "script" and not self.runs_away:
            moved, self.rate = self._scripted(command, was)
        else:
            self._script_speed = 0.0
            self.rate = ramped(self.chain, was, before, self._wanted(command, close), self.accelerations)
            moved = was + (before + self.rate) / 2 * TICK_S
            if self.fault is not None and self.runs_away:  # at once, as the check of runaways takes it
                self.rate[self.fault.joint] = self.fault.rate
                moved[self.fault.joint] = was[self.fault.joint] + self.fault.rate * TICK_S
        self.position = self.position.copy()
        self.position[self.columns] = np.clip(moved, *self.chain.limits.T)
        self._turn()
        self.tick += 1
        self.leg = self.course.on_from(self.leg, self.tool_pose()[:3, 3])

    def _wanted(self, command: Command, close: Closeness) -> Array:
        """Return the joint rates that are asked for (k,), inside the limits of rate and tip speed."""
        share = (FINE if command.fine else 1.0) * (self.load.near_structure if close.near else 1.0)
        most = self.rates * share
        if command.mode == "joint":
            wanted = np.zeros(len(most))
            if 0 <= command.joint < len(most):
                wanted[command.joint] = command.share * most[command.joint]
        elif any(command.push) or any(command.turn):
            axes, arm = self.axes(command.frame), self.scene.loaded.arm.document
            push = axes @ np.asarray(command.push) * self.tip_speed * share
            turn = axes @ np.asarray(command.turn) * TURN_RATE * share
            least = self.scene.loaded.rules.margins.smallest_singular_value
            wanted = resolved(
                self.chain, self.q, np.concatenate([push, turn]), arm.characteristic_length, least, close
            )
        else:
            wanted = np.zeros(len(most))
        _, jacobian = pose_and_jacobian(self.chain, self.q)
        tip = float(np.linalg.norm(jacobian[:3] @ wanted))
        over = max(float(np.max(np.abs(wanted) / most)), tip / (self.tip_speed * share), HEADROOM) / HEADROOM
        return np.asarray(wanted / over)

    def _braked(self, q: Array, rate: Array) -> tuple[Array, Array]:
        """Run on until the brakes bite, then brake every joint to its own stop, exactly."""
        late = self.fault.late_s if self.fault is not None and self.fault.kind == "late" else 0.0
        bites_s = (self.asked or 0) * TICK_S + self.scene.loaded.arm.document.reaction_time + late
        runs = min(max(bites_s - self.tick * TICK_S, 0.0), TICK_S)
        if runs > 0 and self.fault is not None and self.runs_away:
            rate = rate.copy()
            rate[self.fault.joint] = self.fault.rate
        brakes = np.where(rate == 0.0, 1.0, self.brakes)
        lasting = np.minimum(TICK_S - runs, np.abs(rate) / brakes)
        moved = q + rate * runs + np.sign(rate) * (np.abs(rate) * lasting - brakes * lasting**2 / 2)
        after = np.sign(rate) * np.maximum(np.abs(rate) - brakes * (TICK_S - runs), 0.0)
        after[np.abs(after) < 1e-12] = 0.0
        return moved, after

    def _scripted(self, command: Command, q: Array) -> tuple[Array, Array]:
        """Follow the script from where it was left: it runs while asked to, and pauses softly."""
        motion = self.course.record.motion
        if np.abs(motion.at(self.script_s)[self.columns] - q).max() > 1e-6:
            return q + self.rate * TICK_S / 2, np.zeros_like(q)
        goal = 1.0 if command.share > 0 else 0.0
        change = np.clip(goal - self._script_speed, -_SCRIPT_RAMP * TICK_S, _SCRIPT_RAMP * TICK_S)
        speed = self._script_speed + float(change)
        on = self.script_s + (self._script_speed + speed) / 2 * TICK_S
        stop = self._next_act_s()
        if on >= stop:
            on, speed = stop, 0.0
        self.script_s, self._script_speed = on, speed
        moved = motion.at(on)[self.columns]
        return moved, np.asarray(motion.at(on, order=1)[self.columns] * speed)

    def _next_act_s(self) -> float:
        acts = [leg.span.start_s for leg in self.course.legs[self.leg :] if leg.act]
        return min([*acts, self.course.record.motion.end_s])

    # -- acts ----------------------------------------------------------------------------------

    @property
    def next_act(self) -> int | None:
        """The leg of the next act, None when none is left."""
        return next((k for k in range(self.leg, len(self.course.legs)) if self.course.legs[k].act), None)

    def act(self) -> str:
        """Do the next act of the script; return why it cannot be done now, or nothing."""
        number = self.next_act
        if number is None:
            return "the script has no further act"
        if not self.resting:
            return "the arm must stand still first"
        if self.turning:
            return "the last act is not done yet"
        leg = self.course.legs[number]
        goal = still_goal(self.scene, self.position, leg.move)
        if goal is not None:
            ticks = max(round(goal[1] / TICK_S), 1)
            self._turning = (self.position.copy(), goal[0], self.tick, ticks)
        else:
            after, event = switch(self.scene, self.tree, self.position, leg.move)
            held = event.what not in self.scene.loaded.crew
            if held and (event.gap_m > NEAR_M or event.gap_rad > NEAR_RAD):
                return (
                    f"{event.what} is {event.gap_m * 1e3:.0f} mm and {np.degrees(event.gap_rad):.1f} deg from "
                    f"{event.to}; {NEAR_M * 1e3:.0f} mm and {np.degrees(NEAR_RAD):.1f} deg are allowed"
                )
            self.tree = after
            self._load()
        self.leg = self.course.on_from(min(number + 1, len(self.course.legs) - 1), self.tool_pose()[:3, 3])
        self.script_s = leg.span.end_s
        return ""

    def _turn(self) -> None:
        """Turn an appendage or a posture on by one tick."""
        if self._turning is None:
            return
        start, end, since, ticks = self._turning
        share = min((self.tick + 1 - since) / ticks, 1.0)
        smooth = share**3 * (10 - 15 * share + 6 * share**2)
        others = np.setdiff1d(np.arange(len(self.position)), self.columns)
        self.position[others] = start[others] + smooth * (end - start)[others]
        if share >= 1.0:
            self._turning = None
            self._load()

    @property
    def turning(self) -> bool:
        """Whether an appendage or a posture is being turned; no other act begins meanwhile."""
        return self._turning is not None

    def off_goal(self) -> tuple[float, float]:
        """Return how far the tool is from the end of the leg that is flown, m and rad."""
        goal = self.course.legs[self.course.goal_from(self.leg)].goal
        here = self.tool_pose()
        apart = np.linalg.inv(here) @ goal
        return float(np.linalg.norm(goal[:3, 3] - here[:3, 3])), float(np.linalg.norm(rotation_vector(apart)))

    def fail(self, fault: Fault) -> None:
        """Let something go wrong from its tick on.

        Raises:
            MotionError: the arm has no such joint.
        """
        if fault.kind == "runaway" and not 0 <= fault.joint < self.chain.size:
            raise MotionError(f"the arm has no joint {fault.joint}")
        self.fault, self._over = replace(fault), False

