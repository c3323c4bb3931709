"""Live values: who may send them, and what of them is stored when one is taken."""
