"""Every pair of bodies over a whole run: proven bounds row by row, and clearance against time."""
