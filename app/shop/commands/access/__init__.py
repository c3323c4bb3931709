"""Who is answered besides the shop computer: paired tablets, and programs with a token."""
