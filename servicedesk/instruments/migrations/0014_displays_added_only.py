"""The law in the database: photos of displays, and what became of them, are added, never altered."""

from django.db import migrations

from servicedesk.web import facts

TABLES = ["instruments_displayphoto", "instruments_displayread"]


def guard(apps, schema_editor):
    facts.guard(schema_editor, TABLES)


def unguard(apps, schema_editor):
    facts.unguard(schema_editor, TABLES)


class Migration(migrations.Migration):
    dependencies = [("instruments", "0013_displays_read"), ("dispatch", "0001_initial")]
    operations = [migrations.RunPython(guard, unguard)]
