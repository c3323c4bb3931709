"""The rules of the five phases: pure functions over a record, without a database."""
