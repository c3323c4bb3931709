"""Proofs on simulated engines, each run by ``python -m tests.benchmarks.NAME``."""

import os

# Matrices are small here; several threads for one of them only wait for each other on a busy computer.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
