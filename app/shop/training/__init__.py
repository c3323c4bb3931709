"""Simulated engines to train on, worked from a seed and what was recorded at them."""
