"""What readings show: rounds, repeats, meters, the heat soak and the snap test."""
