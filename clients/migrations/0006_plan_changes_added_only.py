"""The law in the database: changes of plans are added, never altered."""

from django.db import migrations

from servicedesk.web import facts

TABLES = ['clients_planchange']


def guard(apps, schema_editor):
    facts.guard(schema_editor, TABLES)


def unguard(apps, schema_editor):
    facts.unguard(schema_editor, TABLES)


class Migration(migrations.Migration):
    dependencies = [("clients", "0005_plan_changes"), ("dispatch", "0001_initial")]
    operations = [migrations.RunPython(guard, unguard)]
