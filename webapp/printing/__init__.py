"""Cards, quizzes and rework orders on paper."""
