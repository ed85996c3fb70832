"""The farm's settings and the people who can sign in."""
