"""The database: its tables, who may open it, how a write is stored once, and copies that can be trusted."""
