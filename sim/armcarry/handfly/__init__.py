"""Fly a carry by hand, without a window: control, live readings, the rider's calls, faults, sessions and scores.

- cockpit.Cockpit(course, folder, seed): a try that is written as it is flown; .tick .act .fail .close; course_of, keep
- course.Course(record): the script as something to fly along
- hands.Hands, keys.read_keys: what is held and chosen, and which key does it -> command.Command
- control.Pilot(scene, course): the arm under commands, one tick after another
- flight.Flight: the pilot and what is kept of every tick; live.Readings, alarm.alarm: what is met next and when
- calls.call -> the rider's words; calls.ways_off -> what now; chance.Chance: faults drawn with a seed
- session.Writer, read_session, replay: the file that survives a crash and gives the same flight, bit for bit
- score.score, log_bytes, write_script: a flight against the script, as a log, as a script to edit
"""
