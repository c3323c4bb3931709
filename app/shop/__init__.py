"""The records of a shop, the rules over them, and what may be done with them."""
