"""Simulated engines for training and for measuring the advice; imported by nothing else in ``app.sync``."""
