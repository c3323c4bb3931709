"""What instruments may say of a visit by themselves."""
