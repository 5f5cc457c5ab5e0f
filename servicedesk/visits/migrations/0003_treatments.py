"""Treatments may be told of; on SQLite the table is built anew, and its law with it."""

from django.conf import settings
from django.db import migrations, models
from servicedesk.web import facts


TABLES = ["visits_entry"]


def guard(apps, schema_editor):
    facts.guard(schema_editor, TABLES)


def unguard(apps, schema_editor):
    facts.unguard(schema_editor, TABLES)


class Migration(migrations.Migration):

    dependencies = [
        ('visits', '0002_facts_added_only'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.RunPython(unguard, guard),
        migrations.RemoveConstraint(
            model_name='entry',
            name='entry_kind_known',
        ),
        migrations.AlterField(
            model_name='entry',
            name='kind',
            field=models.CharField(choices=[('arrive', 'arrived'), ('reading', 'reading'), ('task_done', 'task done'), ('task_left', 'task left'), ('water_change', 'water change'), ('dose', 'dose'), ('rate', 'rate set'), ('refill', 'refill'), ('reagent_load', 'reagent loaded'), ('calibration', 'calibration'), ('pump_check', 'channel calibrated'), ('treatment', 'treatment'), ('livestock', 'animals'), ('photo', 'photo'), ('finding', 'finding'), ('recommendation', 'recommendation'), ('back_on', 'everything back on'), ('next_visit', 'next visit'), ('field', 'field'), ('correction', 'correction'), ('close', 'closed')], max_length=14),
        ),
        migrations.AddConstraint(
            model_name='entry',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['arrive', 'reading', 'task_done', 'task_left', 'water_change', 'dose', 'rate', 'refill', 'reagent_load', 'calibration', 'pump_check', 'treatment', 'livestock', 'photo', 'finding', 'recommendation', 'back_on', 'next_visit', 'field', 'correction', 'close'])), name='entry_kind_known'),
        ),
        migrations.RunPython(guard, unguard),
    ]
