"""What a person or program does: each verb validates, stores and commits in one transaction."""
