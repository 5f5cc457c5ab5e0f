"""The law in the database: notes are added, never altered."""

from django.db import migrations

from servicedesk.web import facts

TABLES = ['rounds_sitenote']


def guard(apps, schema_editor):
    facts.guard(schema_editor, TABLES)


def unguard(apps, schema_editor):
    facts.unguard(schema_editor, TABLES)


class Migration(migrations.Migration):
    dependencies = [("rounds", "0002_moves_and_notes"), ("dispatch", "0001_initial")]
    operations = [migrations.RunPython(guard, unguard)]
