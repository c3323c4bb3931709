"""The two banks just off idle, and which cause parts them."""
