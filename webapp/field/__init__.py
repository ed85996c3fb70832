"""Capture in the row: the phone's page, what it takes along, and what it sends."""
