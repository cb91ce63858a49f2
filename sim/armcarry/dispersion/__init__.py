"""Many perturbed rehearsals and their statistics."""
