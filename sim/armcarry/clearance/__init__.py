"""Distances between convex bodies, and the proof of clearance between samples."""
