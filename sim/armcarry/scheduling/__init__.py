"""Choosing an order: a plain problem of jobs and resources, its solution with a proven bound, and days made of it."""
