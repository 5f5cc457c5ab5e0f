"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web.facts import AddedOnlyLaw


class Migration(migrations.Migration):
    replaces = [
        ("dosing", "0002_facts_added_only"),
    ]
    dependencies = [("dosing", "0001_tables"), ("dispatch", "0001_tables")]
    operations = [
        AddedOnlyLaw(
            [
                "dosing_dose",
                "dosing_pumpcheck",
                "dosing_ratechange",
                "dosing_refill",
                "dosing_treatment",
            ]
        )
    ]
