"""The pages of the shop's instruments: what they send, and whether sensors agree."""
