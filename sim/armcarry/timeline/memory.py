"""What was planned and timed before: of a script that changed in one place, only what changed is planned again.

A move is known by what it is made from: how things hang, where every joint is when it begins, and what the script
says of it. The same things in the same place give the same path and the same timing, so what is remembered is what
would be computed; things that hang where they hung to a nanometre hang in the same place. It holds for one scene:
whoever changes what stands where begins a new memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from armcarry.clearance import Prover
from armcarry.errors import ReachError
from armcarry.files.documents.carries import Move
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.remembered import remember
from armcarry.scene.tree import Tree
from armcarry.timeline.planned import PlannedMove, Way

#: moves that are remembered, the oldest forgotten first
MOST = 2000
#: what the script says of a move on which its path does not depend
_NO_PATH = {"rate", "tip_speed", "say", "name", "relax"}


@dataclass
class Memory:
    """Moves of one scene as they were planned and timed.

    Attributes:
        planned, timed: how many were worked out and not remembered, for tests and whoever measures.
        provers: of what the arm slows down for.
        most: how many may be worked out before planning stops, None for all of them; what is remembered is no work.
        stopped: whether it stopped: the run then ends before the moves that are left.
    """

    planned: int = 0
    timed: int = 0
    most: int | None = None
    stopped: bool = False
    provers: dict[tuple[object, ...], Prover] = field(default_factory=dict)
    _ways: dict[tuple[object, ...], tuple[tuple[PlannedMove, float], ...] | ReachError] = field(default_factory=dict)
    _times: dict[tuple[object, ...], tuple[PlannedMove, Motion | None]] = field(default_factory=dict)
    _trees: dict[tuple[object, ...], Tree] = field(default_factory=dict)

    def extended(
        self, way: Way, place: tuple[str, int], move: Move, near: Array | None, make: Callable[[], Iterable[Way]]
    ) -> list[Way]:
        """Return the ways on which one more move is made.

        Args:
            way: the moves before it.
            place: its carry and number.
            move: what the script says.
            near: what its path depends on besides, None for nothing.
            make: plans it.

        Raises:
            ReachError: it cannot be made on this way.
        """
        key = self._key(way, move, near)
        if key not in self._ways:
            self.planned += 1
            remember(self._ways, key, self._made(way, make), MOST)
        known = self._ways[key]
        if isinstance(known, ReachError):
            raise known.with_traceback(None)
        found = []
        for planned, cost in known:
            here = replace(planned, carry=place[0], number=place[1], move=move)
            found.append(Way(here.after, here.end, (*way.moves, here), way.cost + cost))
        return found

    def _made(
        self, way: Way, make: Callable[[], Iterable[Way]]
    ) -> tuple[tuple[PlannedMove, float], ...] | ReachError:
        try:
            made = [(one.moves[-1], one.cost - way.cost) for one in make()]
        except ReachError as error:
            return error
        return tuple((replace(last, after=self.first(last.after)), cost) for last, cost in made)

    def _key(self, way: Way, move: Move, near: Array | None) -> tuple[object, ...]:
        """Return what the path of a move hangs on; how fast it is made is asked when it is timed."""
        at = self.first(way.tree)  # kept, so that no other tree gets its number
        said = move.model_dump_json(exclude=_NO_PATH)
        return (id(at), way.position.tobytes(), said, b"" if near is None else near.tobytes())

    def full(self, move: Move, ways: Iterable[tuple[Way, Array | None]]) -> bool:
        """Tell whether a move is to be worked out and no more may be now, and note that it was so.

        Args:
            move: what the script says.
            ways: each way before it, and what its path depends on besides.
        """
        if self.most is not None and self.planned >= self.most:
            self.stopped = any(self._key(way, move, near) not in self._ways for way, near in ways)
        return self.stopped

    def allow(self, more: int | None) -> None:
        """Let so many moves more be worked out from now on, None for all of them."""
        self.most, self.stopped = None if more is None else self.planned + more, False

    def first(self, tree: Tree) -> Tree:
        """Return the first tree that hung so, to a nanometre: what was prepared for it holds for this one."""
        hangs = tuple(
            (one.instance, id(one.model), one.parent, (np.round(one.pose, 9) + 0.0).tobytes())  # -0 is 0
            for one in tree.mountings
        )
        return self._trees.setdefault(hangs, tree)

    def motion(self, planned: PlannedMove, make: Callable[[], Motion | None]) -> Motion | None:
        """Return the motion of a planned move from 0 s; None when it takes no time."""
        key = (
            id(planned.tree), id(planned.path), planned.start.tobytes(), planned.end.tobytes(), planned.tool,
            planned.lasting_s, planned.move.rate, planned.move.tip_speed,
        )  # fmt: skip
        if key not in self._times:
            self.timed += 1
            # the move is kept, so that no other path gets its number
            remember(self._times, key, (planned, make()), MOST)
        return self._times[key][1]
