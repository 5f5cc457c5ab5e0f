"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web.facts import AddedOnlyLaw


class Migration(migrations.Migration):
    replaces = [
        ("reports", "0003_answers_added_only"),
    ]
    dependencies = [("reports", "0001_tables"), ("dispatch", "0001_tables")]
    operations = [
        AddedOnlyLaw(
            [
                "reports_answer",
            ]
        )
    ]
