"""Drawings and printed things: records in, bytes out."""
