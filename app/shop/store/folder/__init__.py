"""What lies around a shop's file: whether it is still there, its journal after a fall, who may read it,
and that nothing is left in it of what was taken out."""
