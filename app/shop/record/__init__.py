"""A visit as it was recorded, as frozen values, and the one loader that fills it."""
