"""Two runs side by side, and findings beside what a scenario expects of them."""
