"""Coaching: what to work on, who learns which stage, and trainings."""
