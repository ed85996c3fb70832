"""Blocks, their rows and what stands in them."""
