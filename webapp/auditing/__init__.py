"""Audits: the plan of a lot, its trees one by one, the verdict, rework and amendments."""
