"""Signing in and out, and the language of the pages."""
