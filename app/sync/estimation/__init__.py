"""The state of an engine as a Gaussian: its prior, the predict step of moves, the update step of readings."""
