"""What is kept of live values: the tables, and a file of their samples."""
