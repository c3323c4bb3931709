"""Pages of a visit under way: its phases, readings, adjustments, and corrections after the sign-off."""
