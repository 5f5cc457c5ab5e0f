"""What rounds ask of others outside the house."""
