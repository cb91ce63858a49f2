"""Several runs told as one: an index page, one time line, one deck."""
