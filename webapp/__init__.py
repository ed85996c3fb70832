"""The intranet pages and the command line."""
