"""armcarry: rehearse carrying a suited crewmember on a long manipulator.

A rehearsal aid. Results support, and do not replace, analysis and approval by the responsible
robotics, safety and medical authorities and local rules. Never use it to command hardware.
"""

__version__ = "0.1.0"
