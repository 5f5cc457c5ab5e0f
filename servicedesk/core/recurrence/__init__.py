"""When recurring work falls due."""
