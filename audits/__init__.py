"""Scoring, sampling, decisions and trends of pruning audits, and the records they are kept in."""
