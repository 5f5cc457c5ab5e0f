"""A connection to the database for work that comes outside of requests."""

from django.db import close_old_connections, connection


def fresh_connection() -> None:
    """Drop a connection that is too old or broken; never one in the middle of a transaction."""
    if not connection.in_atomic_block:
        close_old_connections()
