"""Use cases: each function is one transaction and the only place that commits it."""
