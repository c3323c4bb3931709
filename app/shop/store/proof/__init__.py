"""Up to where the row hashes of a shop were proved, so that a start need not make all of them again."""
