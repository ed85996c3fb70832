"""Questions to the database: one function each, answered with frozen records."""
