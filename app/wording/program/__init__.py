"""What the program says of itself: the command line, the records, the scripts, and why a request is rejected."""
