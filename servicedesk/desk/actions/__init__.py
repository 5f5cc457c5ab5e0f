"""The verbs of screens and commands that span rooms."""
