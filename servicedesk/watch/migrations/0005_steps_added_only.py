"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web import facts

TABLES = ["watch_attentionstep"]


def guard(apps, schema_editor):
    facts.guard(schema_editor, TABLES)


def unguard(apps, schema_editor):
    facts.unguard(schema_editor, TABLES)


class Migration(migrations.Migration):
    dependencies = [("watch", "0004_alarms"), ("dispatch", "0001_initial")]
    operations = [migrations.RunPython(guard, unguard)]
