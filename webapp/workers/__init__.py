"""Workers: each one's own season, and the list of them."""
