"""What the two engines share: a file of SQLite, and a database on a PostgreSQL server."""
