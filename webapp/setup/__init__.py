"""How a phone comes to trust the farm's pages: a page of its own, in plain HTTP, and a test."""
