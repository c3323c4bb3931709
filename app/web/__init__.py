"""What a browser or a program at a bench is answered: pages, the facts they draw, doors, and the JSON interface."""
