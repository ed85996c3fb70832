"""Practice trees: drawn from chance after published figures, and what a standard asks of them."""
