"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web.facts import AddedOnlyLaw


class Migration(migrations.Migration):
    replaces = [
        ("dispatch", "0004_withdrawals_added_only"),
    ]
    dependencies = [("dispatch", "0001_tables")]
    operations = [
        AddedOnlyLaw(
            [
                "dispatch_withdrawal",
            ]
        )
    ]
