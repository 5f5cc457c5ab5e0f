"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web.facts import AddedOnlyLaw


class Migration(migrations.Migration):
    replaces = [
        ("watch", "0005_steps_added_only"),
    ]
    dependencies = [("watch", "0001_tables"), ("dispatch", "0001_tables")]
    operations = [
        AddedOnlyLaw(
            [
                "watch_attentionstep",
            ]
        )
    ]
