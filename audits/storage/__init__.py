"""Where records are kept: tables, queries, migrations and the two databases' manners."""
