"""How far a measured value can be trusted."""
