"""An engine with its whole history as a file: the versions of the format, out, in, and the rows it writes."""
