"""What is asked of two bodies: which pairs are judged, and how far apart the rules want them."""
