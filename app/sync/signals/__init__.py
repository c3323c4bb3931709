"""What a live instrument shows, and when a value of it may be kept."""
