"""What waits today."""
