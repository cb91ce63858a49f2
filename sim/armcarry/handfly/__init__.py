"""Fly a carry by hand, without a window: control, live readings, the rider's calls, sessions and scores.

- course.Course(record): the script as something to fly along; .stage .end_of .nearest
- control.Pilot(scene, course): the arm under commands, one tick after another; .step .act .brake
- live.Readings of a Watch(scene): closest pairs, run-out, what is met next and when
- calls.call(...) -> the rider's words; escape.ways_off(...) -> what now
- session.Session: the file that survives a crash; .replay gives the same flight, bit for bit
- score.score(flight, script) and score.as_log(flight) -> a motion log that rehearse judges with every check
"""
