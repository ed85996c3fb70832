"""Learning: where practice, quizzes, briefs and records are found."""
