"""Treatments by order of a veterinarian, added only."""

import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models
from servicedesk.web import facts


TABLES = ['dosing_treatment']


def guard(apps, schema_editor):
    facts.guard(schema_editor, TABLES)


def unguard(apps, schema_editor):
    facts.unguard(schema_editor, TABLES)


class Migration(migrations.Migration):

    dependencies = [
        ('clients', '0002_facts_added_only'),
        ('dosing', '0002_facts_added_only'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Treatment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('vet', models.CharField(max_length=100)),
                ('product', models.CharField(max_length=100)),
                ('form', models.CharField(choices=[('copper_free', 'free copper'), ('copper_complexed', 'complexed copper'), ('formalin', 'formalin'), ('other', 'something else')], max_length=16)),
                ('lot', models.CharField(max_length=60)),
                ('dose', models.CharField(max_length=120)),
                ('until_on', models.DateField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='treatments', to='clients.tank')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='treatment_once'), models.CheckConstraint(condition=models.Q(models.Q(('vet', ''), _negated=True), models.Q(('product', ''), _negated=True), models.Q(('lot', ''), _negated=True), models.Q(('dose', ''), _negated=True)), name='treatment_told_whole')],
            },
        ),
        migrations.RunPython(guard, unguard),
    ]
