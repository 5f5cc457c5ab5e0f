"""The law in the database: a client's answers are added, never altered."""

from django.db import migrations

from servicedesk.web import facts

TABLES = ['reports_answer']


def guard(apps, schema_editor):
    facts.guard(schema_editor, TABLES)


def unguard(apps, schema_editor):
    facts.unguard(schema_editor, TABLES)


class Migration(migrations.Migration):
    dependencies = [("reports", "0002_answers"), ("dispatch", "0001_initial")]
    operations = [migrations.RunPython(guard, unguard)]
