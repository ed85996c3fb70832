"""Practice on drawn trees: the page that a phone keeps, its trees, and what comes back."""
