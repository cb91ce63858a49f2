"""What the operator asks for, one command a tick; plain data, so that a session file holds it exactly."""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import Any, Literal, get_args

from armcarry.errors import InputError

Mode = Literal["tip", "joint", "script"]
FrameName = Literal["platform", "tip", "rider", "camera"]
MODES: tuple[Mode, ...] = get_args(Mode)
FRAMES: tuple[FrameName, ...] = get_args(FrameName)
#: ticks in a second: the arm is moved, and everything read, this often
RATE_HZ = 30
TICK_S = 1.0 / RATE_HZ


@dataclass(frozen=True)
class Command:
    """One tick of the hand controls.

    Attributes:
        mode: tip motion, a single joint, or following the script.
        frame: whose axes ``push`` and ``turn`` are in, for tip motion.
        push, turn: shares of the greatest speed along and about x, y, z, -1 to 1.
        joint: which joint, from the base, in joint motion.
        share: share of its greatest rate, -1 to 1; in script mode greater than 0 means go on.
        fine: a fifth of all speeds.
        brake: the brakes are asked for; they stay on until the arm rests and this is false.
    """

    mode: Mode = "tip"
    frame: FrameName = "tip"
    push: tuple[float, float, float] = (0.0, 0.0, 0.0)
    turn: tuple[float, float, float] = (0.0, 0.0, 0.0)
    joint: int = 0
    share: float = 0.0
    fine: bool = False
    brake: bool = False

    @property
    def idle(self) -> bool:
        """Whether nothing is asked for."""
        return not (any(self.push) or any(self.turn) or self.share or self.brake)

    def as_dict(self) -> dict[str, Any]:
        """Return what differs from an idle command, for a session file."""
        plain = Command()
        return {k: v for k, v in asdict(self).items() if v != getattr(plain, k)}

    @staticmethod
    def of(content: Any) -> Command:
        """Read what as_dict gave.

        Raises:
            InputError: a field that is not there, or a value that does not fit it.
        """
        known = {field.name for field in fields(Command)}
        if not isinstance(content, dict) or not set(content) <= known:
            raise InputError("not a command", found=str(content)[:80], accepted=", ".join(sorted(known)))
        values: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in content.items()}
        made = Command(**values)
        numbers = (*made.push, *made.turn, made.share)
        fits = (
            made.mode in MODES and made.frame in FRAMES and len(made.push) == len(made.turn) == 3
            and all(isinstance(v, int | float) and -1 <= v <= 1 for v in numbers)
            and isinstance(made.joint, int) and isinstance(made.fine, bool) and isinstance(made.brake, bool)
        )  # fmt: skip
        if not fits:
            raise InputError("not a command", found=str(content)[:80], accepted="shares from -1 to 1")
        return made
