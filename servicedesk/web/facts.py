"""Facts are added, never altered: the abstract row that every fact is, and the law in the database.

A fact made from a journal entry or a delivery carries that one's id as `origin` and its own number in it as
`part`; the pair is unique, so taking the same news twice makes one fact. Triggers on both databases refuse
UPDATE always, and DELETE unless an erasure is open (dispatch.Erasure)."""

import uuid
from typing import Any

from django.db import models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation

REFUSAL = "facts are added, never altered"


class AddedOnly(Exception):
    """Somebody tried to alter or remove a fact."""


class Fact(models.Model):
    origin = models.UUIDField(default=uuid.uuid4, editable=False)
    part = models.PositiveIntegerField(default=0, editable=False)
    received_at = models.DateTimeField()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise AddedOnly(REFUSAL)
        kwargs["force_insert"] = True
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        raise AddedOnly(REFUSAL)


def _sqlite(table: str) -> list[str]:
    return [
        f'CREATE TRIGGER "{table}_not_altered" BEFORE UPDATE ON "{table}" '
        f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END",
        f'CREATE TRIGGER "{table}_not_removed" BEFORE DELETE ON "{table}" '
        "WHEN NOT EXISTS (SELECT 1 FROM dispatch_erasure WHERE closed_at IS NULL) "
        f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END",
    ]


def _postgresql(table: str) -> list[str]:
    return [
        "CREATE OR REPLACE FUNCTION tankround_fact_guard() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "IF TG_OP = 'DELETE' AND EXISTS (SELECT 1 FROM dispatch_erasure WHERE closed_at IS NULL) "
        f"THEN RETURN OLD; END IF; RAISE EXCEPTION '{REFUSAL}'; END $$",
        f'CREATE TRIGGER "{table}_guard" BEFORE UPDATE OR DELETE ON "{table}" '
        "FOR EACH ROW EXECUTE FUNCTION tankround_fact_guard()",
    ]


def guard(schema_editor: BaseDatabaseSchemaEditor, tables: list[str]) -> None:
    """Put the triggers on the named tables (from a migration)."""
    make = _sqlite if schema_editor.connection.vendor == "sqlite" else _postgresql
    for table in tables:
        for statement in make(table):
            schema_editor.execute(statement)


def unguard(schema_editor: BaseDatabaseSchemaEditor, tables: list[str]) -> None:
    """Take them off again (the migration backward)."""
    for table in tables:
        if schema_editor.connection.vendor == "sqlite":
            schema_editor.execute(f'DROP TRIGGER IF EXISTS "{table}_not_altered"')
            schema_editor.execute(f'DROP TRIGGER IF EXISTS "{table}_not_removed"')
        else:
            schema_editor.execute(f'DROP TRIGGER IF EXISTS "{table}_guard" ON "{table}"')


def fact_tables(models_of_app: list[type[models.Model]]) -> list[str]:
    """Names of the tables among these models that hold facts."""
    return sorted(m._meta.db_table for m in models_of_app if issubclass(m, Fact))


class AddedOnlyLaw(Operation):
    """In a migration: from here on rows of these tables are added and never altered. Knows tables by name alone, so that no state of
    models has to be built for it."""

    reversible = True
    reduces_to_sql = True

    def __init__(self, tables: list[str]) -> None:
        self.tables = tables

    def state_forwards(self, app_label: str, state: Any) -> None:
        """The law is in the database alone; models know it by themselves."""

    def database_forwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: Any, to_state: Any
    ) -> None:
        guard(schema_editor, self.tables)

    def database_backwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: Any, to_state: Any
    ) -> None:
        unguard(schema_editor, self.tables)

    def describe(self) -> str:
        return f"Added and never altered: {', '.join(self.tables)}"
