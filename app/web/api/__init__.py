"""The JSON interface: everything that a page can do in a visit, for a bench program.

One file per resource, each thin: shapes in and out, and one verb of the store. ``/api/openapi.json`` describes it.
"""
