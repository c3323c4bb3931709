"""The cross-check as JSON."""
