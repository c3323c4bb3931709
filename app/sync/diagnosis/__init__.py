"""Why an engine runs uneven though its plates are even: causes weighed against whatever a shop can measure."""
