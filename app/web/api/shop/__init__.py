"""What belongs to the shop, not to a visit: meters, feelers, settings, and what changed lately."""
