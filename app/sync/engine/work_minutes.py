"""What the work at an engine takes, in minutes: what a plan is priced by and a training engine's time counted in."""

READ_MINUTES, TURN_MINUTES, RESET_MINUTES = 0.3, 0.7, 2.0
"""A reading; a screw or a link rod turned; a coupler reset on a feeler (our judgement)."""
