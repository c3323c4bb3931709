"""The commands beside ``serve`` and ``demo``, one module a kind."""
