"""What is asked across visits and engines: search, history, statistics, the activity log."""
