"""Everything that the program is held to, and the tools for it."""

import os

# As in the program: matrices are small, and several workers share few processors.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
