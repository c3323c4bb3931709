"""A demonstration shop in an invented setting."""
