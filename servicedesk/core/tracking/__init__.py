"""What history leads one to expect."""
