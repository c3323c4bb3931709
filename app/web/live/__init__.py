"""Live values: what instruments send, kept for a minute, and handed to the pages as it comes."""
