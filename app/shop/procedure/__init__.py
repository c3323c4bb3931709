"""The rules of the five phases: pure functions over a record. No database is imported here."""
