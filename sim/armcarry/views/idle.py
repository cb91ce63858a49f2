"""When nothing moves in a run: what may pass quickly while it is played."""

from __future__ import annotations

import numpy as np

from armcarry.record.record import Record

#: it is looked at so often, s; a shorter rest stays as it is
_STEP_S, _LEAST_S = 1.0, 10.0
#: a stretch without motion passes within this on the wall when it is to pass quickly, s
PASSES_S = 2.0


def idle_stretches(record: Record) -> tuple[tuple[float, float], ...]:
    """Return from when to when nothing moves, looked at every second: start and end, seconds of the run.

    What is taken up, put down or hooked meanwhile ends a stretch: things hang otherwise after it.
    """
    start, end = record.motion.start_s, record.motion.end_s
    times = np.linspace(start, end, max(int(np.ceil((end - start) / _STEP_S)), 1) + 1)
    at = record.motion.at(times)
    moves = np.abs(np.diff(at, axis=0)).max(axis=1, initial=0.0) > 1e-9
    switches = np.array([phase.start_s for phase in record.phases[1:]])
    moves[np.clip(np.searchsorted(times, switches, side="right") - 1, 0, len(moves) - 1)] = True
    edges = np.flatnonzero(np.diff(np.concatenate([[True], moves, [True]]).astype(int)))
    found = zip(times[edges[::2]], times[edges[1::2]], strict=True)
    return tuple((float(first), float(last)) for first, last in found if last - first >= _LEAST_S)
