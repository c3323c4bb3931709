"""The pages of a group: its sites and their rooms, and the hand-over between shops."""
