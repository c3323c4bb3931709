"""A shop's records in a database on a PostgreSQL server; nothing else imports its driver."""
