"""The operator's hands: which sticks are held and what is chosen, and the command that comes of it each tick."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from armcarry.handfly.command import FRAMES, MODES, Command, FrameName, Mode
from armcarry.handfly.control import Pilot
from armcarry.handfly.keys import STICKS


class Hands:
    """What is held and chosen.

    Attributes:
        mode, frame, joint, fine: what the sticks mean.
    """

    def __init__(self, joints: int) -> None:
        """Args: joints, how many the arm has."""
        self.mode: Mode = "tip"
        self.frame: FrameName = "platform"
        self.joint, self.fine, self._joints = 0, False, joints
        self._held: dict[str, tuple[int, float]] = {}
        self._brake = False

    def hold(self, source: str, stick: int, share: float) -> None:
        """Push a stick by a share, -1 to 1, until ``release``; ``source`` is the key, axis or mouse that does it."""
        self._held[source] = (stick, float(np.clip(share, -1.0, 1.0)))

    def release(self, source: str) -> None:
        """Let go of what a source held."""
        self._held.pop(source, None)

    def let_go(self) -> None:
        """Let go of everything, as when the window loses the keyboard."""
        self._held.clear()

    def brake(self) -> None:
        """Ask for the brakes; they are let go once the arm rests."""
        self._brake = True

    def next_mode(self) -> None:
        """Choose the next mode."""
        self.mode = MODES[(MODES.index(self.mode) + 1) % len(MODES)]

    def next_frame(self) -> None:
        """Choose the next frame."""
        self.frame = FRAMES[(FRAMES.index(self.frame) + 1) % len(FRAMES)]

    def next_joint(self) -> None:
        """Choose the next joint."""
        self.joint = (self.joint + 1) % self._joints

    def command(self, pilot: Pilot) -> Command:
        """Return the command of this tick."""
        if self._brake and pilot.asked is not None and pilot.resting and pilot.tick > pilot.asked:
            self._brake = False
        sticks = [0.0] * len(STICKS)
        for stick, share in self._held.values():
            sticks[stick] = float(np.clip(sticks[stick] + share, -1.0, 1.0))
        push, turn = (sticks[0], sticks[1], sticks[2]), (sticks[3], sticks[4], sticks[5])
        if self.mode == "tip":
            return Command("tip", self.frame, push, turn, fine=self.fine, brake=self._brake)
        return Command(self.mode, self.frame, joint=self.joint, share=sticks[0], fine=self.fine, brake=self._brake)

    @property
    def held(self) -> Mapping[str, tuple[int, float]]:
        """What is held now: source -> stick and share."""
        return self._held
