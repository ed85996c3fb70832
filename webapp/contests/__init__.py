"""A worker's own page and trees, and disagreement with a score until a second person answers."""
