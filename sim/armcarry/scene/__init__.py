"""Arm, platform, crew, hardware and rules, and the one tree of frames they hang in."""
