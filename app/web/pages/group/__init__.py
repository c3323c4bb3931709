"""The pages of a group: its sites and their rooms."""
