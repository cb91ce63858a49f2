"""Actors, steps, who holds what, and the schedule of the day.

The arm on its way: moves (planned), carry (on the clock), variants (again, backwards), run (what comes out).
The day, from its document to a run:

    task, network, slots, times, schedule    steps -> tasks -> waits -> earliest and latest times, what is left out
    estimate                                 three points -> how likely the day ends in time
    first_page, acts, written                what everybody does, written into the ledger, which judges it
    situation                                where steps bring everybody by name, for planning ways
    conflicts, base, trolley                 an actor in two places, carts in the way
    handrails, sides, translation, walks     the way along handrails, and the body's motion on six free joints
    plan                                     all of these for one scenario: DayPlan
    walkthrough, merge, day_run              every step's motion, merged into one Run
    separation                               how far the moving arm stays from a worker
"""
