"""Pages of the engines: the list and the search, one engine, its paper, its file, the training engines."""
