"""Engines handed over to another shop by the program itself: what is sent, what came in, and what a person is asked."""
