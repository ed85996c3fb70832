"""The standards of a block: written, changed while unused, and read in plain words."""
