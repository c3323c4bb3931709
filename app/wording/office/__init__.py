"""What is said away from the engine: engines, meters, settings, statistics, training, history and paper."""
