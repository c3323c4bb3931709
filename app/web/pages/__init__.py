"""One file a page: it reads the request, calls one verb or one query, and renders."""
