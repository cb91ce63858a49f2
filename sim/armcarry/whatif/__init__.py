"""What if the arm stops late, a joint runs away or locks, or the arm quits: worked out from a record.

faults                              stretches of a run with one load and one set of requirements
late_stop, runaway_joint            run-outs and runaways at every instant, proven
locked_joint, stranding             what the other joints can still do; the rider's way home
nearness                            free workers beside the moving arm
branches, witness                   another posture for one instant; one arc looked at sharply
swept                               the room that arm, rider and load go through
opinions, flown_stop                other engines asked about pairs and stops
"""
