"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web.facts import AddedOnlyLaw


class Migration(migrations.Migration):
    replaces = [
        ("clients", "0002_facts_added_only"),
        ("clients", "0006_plan_changes_added_only"),
    ]
    dependencies = [("clients", "0001_tables"), ("dispatch", "0001_tables")]
    operations = [
        AddedOnlyLaw(
            [
                "clients_livestockfact",
                "clients_planchange",
            ]
        )
    ]
