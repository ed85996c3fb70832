"""The bank of quiz items: makers of questions, one module a subject."""
