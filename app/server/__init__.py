"""The program as a process: the command line, where it is reached, its certificate, and the care of the records."""

import os

# Matrices are small here; several threads for one of them only wait for each other on a busy computer.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
