"""How long supplies last, when they must be ordered, and what a test costs."""
