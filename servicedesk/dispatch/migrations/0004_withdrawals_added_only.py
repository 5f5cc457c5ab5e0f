"""The law in the database: what was taken back is added, never altered."""

from django.db import migrations

from servicedesk.web import facts

TABLES = ["dispatch_withdrawal"]


def guard(apps, schema_editor):
    facts.guard(schema_editor, TABLES)


def unguard(apps, schema_editor):
    facts.unguard(schema_editor, TABLES)


class Migration(migrations.Migration):
    dependencies = [("dispatch", "0003_withdrawal")]
    operations = [migrations.RunPython(guard, unguard)]
