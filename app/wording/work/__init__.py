"""What is said beside the engine and over the telephone: phases, safety, advice, verdicts, the reading page."""
