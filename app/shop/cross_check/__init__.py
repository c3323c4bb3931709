"""What is measured beside the evening of an engine that runs uneven: stored, read from a logger's file, weighed."""
