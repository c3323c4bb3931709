"""Whether the tests would notice: ``python -m tests.mutants`` changes the program here and there and runs its tests."""
