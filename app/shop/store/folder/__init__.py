"""What lies around a shop's file: whether it is still there, its journal after a fall, who may read it."""
