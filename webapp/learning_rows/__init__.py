"""From learning to the row: whether practice and quizzes show in audited trees."""
