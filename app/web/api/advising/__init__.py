"""What stands beside the next step: what to do about it as data, the banks off idle, and the cold setting."""
