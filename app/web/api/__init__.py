"""The JSON interface, one module per resource: what a page can do in a visit, for programs."""
