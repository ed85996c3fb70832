"""Crews and the workers in them."""
