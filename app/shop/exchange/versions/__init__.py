"""What may be in an engine file, version by version; each is read for ever."""
