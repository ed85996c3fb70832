"""The gallery of practice trees, with their figures beside published ones."""
