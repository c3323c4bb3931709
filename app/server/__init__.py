"""The program as a process: the command line, where it is reached, its certificate, and the care of the records."""
