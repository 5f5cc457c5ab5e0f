"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web.facts import AddedOnlyLaw


class Migration(migrations.Migration):
    replaces = [
        ("stock", "0002_facts_added_only"),
    ]
    dependencies = [("stock", "0001_tables"), ("dispatch", "0001_tables")]
    operations = [
        AddedOnlyLaw(
            [
                "stock_movement",
            ]
        )
    ]
