"""What is in the water, and what must be added or replaced to change it."""
