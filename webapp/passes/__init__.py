"""Passes: a crew going once through some rows, its lots and its people."""
