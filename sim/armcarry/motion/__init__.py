"""Forward and inverse kinematics, paths and timing, and the Motion they end in."""
