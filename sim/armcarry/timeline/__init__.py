"""Actors, steps, who holds what, and the schedule of the day."""
