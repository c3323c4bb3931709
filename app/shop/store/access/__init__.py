"""The tables of those who are answered besides the shop computer."""
