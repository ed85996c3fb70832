"""What learning is worth: quiz items, learning curves, and whether it shows in the row."""
