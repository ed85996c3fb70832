"""Quiz items: what answers say of each, and which are retired."""
