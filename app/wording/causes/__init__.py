"""What a person reads of a cross-check: its tests, its causes, what is said of them."""
