"""The tables of what is handed over between two shops, on both sides."""
