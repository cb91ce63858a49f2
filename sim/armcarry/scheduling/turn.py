"""What is known when a day goes wrong, and what the rest of it is for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

#: what the rest of the day is for: everybody home, the most worth in time, or everything that must be done
Aim = Literal["home", "worth", "all"]


@dataclass(frozen=True)
class Turn:
    """What is known at an instant of a day.

    Attributes:
        at_s: the instant.
        late_s: step -> seconds that it takes longer; failed: steps that are tried and fail; unable: who works no more.
    """

    at_s: float
    late_s: Mapping[str, float] = field(default_factory=dict)
    failed: tuple[str, ...] = ()
    unable: tuple[str, ...] = ()


#: the start of a day that goes as written
NOTHING_WRONG = Turn(0.0)
