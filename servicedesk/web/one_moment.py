"""Everything that a transaction reads is of one moment: the branch between the databases for it."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def one_moment() -> Iterator[None]:
    """A transaction whose reads are all of the moment of its first one. On SQLite every transaction is so; PostgreSQL is asked
    for it, where this is the outermost transaction (inside another the isolation cannot be changed any more)."""
    alone = not connection.in_atomic_block
    with transaction.atomic():
        if alone and connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        yield
