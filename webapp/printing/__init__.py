"""The print desk: cards, gauges, quizzes, sheets and posters on paper."""
