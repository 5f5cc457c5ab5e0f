"""On the database in use, every table of facts refuses to be altered."""

import pytest
from django.apps import apps
from django.db import connection

from servicedesk.web.facts import fact_tables

FACTS = fact_tables(list(apps.get_models()))


def guarded_tables() -> set[str]:
    """Tables whose rows the database itself protects from UPDATE and DELETE."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT tbl_name, upper(sql) FROM sqlite_master WHERE type = 'trigger'")
            rows = cursor.fetchall()
            altered = {table for table, sql in rows if "BEFORE UPDATE" in sql and "RAISE(ABORT" in sql}
            return altered & {table for table, sql in rows if "BEFORE DELETE" in sql and "RAISE(ABORT" in sql}
        cursor.execute(
            "SELECT c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "JOIN pg_proc p ON p.oid = t.tgfoid WHERE p.proname = 'tankround_fact_guard' "
            "AND t.tgenabled = 'O' AND (t.tgtype & 27) = 27"  # row, before, delete, update
        )
        return {table for (table,) in cursor.fetchall()}


def take_the_guard_off(table: str) -> None:
    names = [f"{table}_not_altered"] if connection.vendor == "sqlite" else [f"{table}_guard"]
    with connection.cursor() as cursor:
        for name in names:
            where = "" if connection.vendor == "sqlite" else f' ON "{table}"'
            cursor.execute(f'DROP TRIGGER "{name}"{where}')


@pytest.mark.django_db
def test_every_table_of_facts_is_guarded_by_the_database() -> None:
    assert len(FACTS) >= 10
    assert sorted(set(FACTS) - guarded_tables()) == []


@pytest.mark.django_db
def test_a_table_of_facts_without_its_guard_is_caught() -> None:
    take_the_guard_off(FACTS[0])

    assert sorted(set(FACTS) - guarded_tables()) == [FACTS[0]]
