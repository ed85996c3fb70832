"""Enrolled phones: their list, the offer of a new one, and how a phone is enrolled and unlocked."""
