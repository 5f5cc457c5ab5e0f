"""The law in the database: facts of this room are added, never altered."""

from django.db import migrations

from servicedesk.web.facts import AddedOnlyLaw


class Migration(migrations.Migration):
    replaces = [
        ("instruments", "0002_facts_added_only"),
        ("instruments", "0006_signs_added_only"),
        ("instruments", "0011_stages_added_only"),
        ("instruments", "0014_displays_added_only"),
        ("instruments", "0016_steps_of_procedures_added_only"),
    ]
    dependencies = [("instruments", "0001_tables"), ("dispatch", "0001_tables")]
    operations = [
        AddedOnlyLaw(
            [
                "instruments_calibration",
                "instruments_displayphoto",
                "instruments_displayread",
                "instruments_procedurestep",
                "instruments_reagentload",
                "instruments_sign",
                "instruments_stagedone",
                "instruments_trustmove",
            ]
        )
    ]
