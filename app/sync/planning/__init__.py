"""The one next move: the cold preset, candidate moves, what they would lead to, and the choice among them."""
