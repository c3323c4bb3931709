"""Evenbore: an even idle and balanced banks on engines with one throttle per cylinder."""
