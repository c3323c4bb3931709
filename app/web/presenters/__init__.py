"""Plain facts for the templates, worked out of records and assessments; nothing here reads a request."""
