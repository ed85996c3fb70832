"""Control charts of fractions: which points chance explains, and which it does not."""
