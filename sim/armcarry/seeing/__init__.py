"""What cameras, riders and nobody sees, and in which light: sight lines, gaps, glare, sunlight, work light."""
