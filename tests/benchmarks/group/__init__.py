"""A group on a database server beside one shop on a file, both engines side by side in one run on one disk."""
