"""Where values come from, one module a kind: each reads until it is told to stop, and raises what goes wrong."""
