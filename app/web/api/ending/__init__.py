"""How a visit ends."""
