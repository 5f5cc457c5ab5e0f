"""The pages of a visit: Look, Test, Work, Advise, Leave. Every form ends in actions.take_entries."""
