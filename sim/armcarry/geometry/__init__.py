"""Poses and convex shapes: data only, nothing here draws or measures distances."""
