"""Values of instruments that send on and on: means over pulses, how sure they are, and when they stand still."""
