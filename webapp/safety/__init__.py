"""Safety notes by method and topic, in both languages."""
