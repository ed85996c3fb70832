"""Quizzes on a screen: begun, one question at a time, handed in, and explained."""
