"""The owner's review of a season."""
