"""The reading page: engine drawing, keypad, verdict, card, and the linkage off idle."""
