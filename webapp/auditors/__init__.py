"""Auditors: check trees, who agrees with whom, and what follows."""
