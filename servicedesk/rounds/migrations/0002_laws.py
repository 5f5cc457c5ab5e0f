"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web.facts import AddedOnlyLaw


class Migration(migrations.Migration):
    replaces = [
        ("rounds", "0003_notes_added_only"),
    ]
    dependencies = [("rounds", "0001_tables"), ("dispatch", "0001_tables")]
    operations = [
        AddedOnlyLaw(
            [
                "rounds_sitenote",
            ]
        )
    ]
