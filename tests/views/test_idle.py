import numpy as np

from armcarry.views.idle import idle_stretches


def test_nothing_moves_or_is_hung_elsewhere_within_a_rest(small_run):
    record, _ = small_run
    found = idle_stretches(record)
    assert found
    for start, end in found:
        at = record.motion.at(np.linspace(start, end, 200))
        assert np.ptp(at, axis=0).max() < 1e-9 and end - start >= 10.0
        assert not [phase for phase in record.phases if start + 1.0 < phase.start_s < end - 1.0]
    # and all of a hold is one, but for the second at its edges
    rests = [move for move in record.moves if move.kind == "hold" and move.end_s - move.start_s > 15.0]
    for move in rests:
        covered = sum(max(min(end, move.end_s) - max(start, move.start_s), 0.0) for start, end in found)
        assert covered >= move.end_s - move.start_s - 2.0
    assert rests
