"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web import facts

TABLES = ['instruments_procedurestep']


def guard(apps, schema_editor):
    facts.guard(schema_editor, TABLES)


def unguard(apps, schema_editor):
    facts.unguard(schema_editor, TABLES)


class Migration(migrations.Migration):
    dependencies = [("instruments", "0015_guided_calibration"), ("dispatch", "0001_initial")]
    operations = [migrations.RunPython(guard, unguard)]
