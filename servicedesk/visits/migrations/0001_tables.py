"""The tables of this room."""

import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('visits', '0001_initial'), ('visits', '0003_treatments')]

    initial = True

    dependencies = [
        ('clients', '0001_tables'),
        ('rounds', '0001_tables'),
        ('staff', '__first__'),
    ]

    operations = [
        migrations.CreateModel(
            name='Visit',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('state', models.CharField(choices=[('open', 'open'), ('closed', 'closed')], default='open', max_length=6)),
                ('arrived_at', models.DateTimeField()),
                ('closed_at', models.DateTimeField(blank=True, null=True)),
                ('versions', models.PositiveIntegerField(default=0)),
                ('closed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('due_visit', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='visit', to='rounds.duevisit')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='visits', to='clients.site')),
                ('technician', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='visits', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('closed_at__isnull', True), ('closed_by__isnull', True), ('state', 'open')), models.Q(('closed_at__isnull', False), ('closed_by__isnull', False), ('state', 'closed')), _connector='OR'), name='visit_closed_at_by_and_state_together')],
            },
        ),
        migrations.CreateModel(
            name='Photo',
            fields=[
                ('id', models.UUIDField(editable=False, primary_key=True, serialize=False)),
                ('file', models.CharField(max_length=120)),
                ('width', models.PositiveIntegerField()),
                ('height', models.PositiveIntegerField()),
                ('caption', models.CharField(blank=True, max_length=200)),
                ('taken_at', models.DateTimeField()),
                ('author', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('tank', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='photos', to='clients.tank')),
                ('visit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='photos', to='visits.visit')),
            ],
        ),
        migrations.CreateModel(
            name='Entry',
            fields=[
                ('id', models.UUIDField(editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(choices=[('arrive', 'arrived'), ('reading', 'reading'), ('task_done', 'task done'), ('task_left', 'task left'), ('water_change', 'water change'), ('dose', 'dose'), ('rate', 'rate set'), ('refill', 'refill'), ('reagent_load', 'reagent loaded'), ('calibration', 'calibration'), ('pump_check', 'channel calibrated'), ('treatment', 'treatment'), ('livestock', 'animals'), ('photo', 'photo'), ('finding', 'finding'), ('recommendation', 'recommendation'), ('back_on', 'everything back on'), ('next_visit', 'next visit'), ('field', 'field'), ('correction', 'correction'), ('close', 'closed')], max_length=14)),
                ('payload', models.JSONField()),
                ('sha256', models.CharField(max_length=64)),
                ('tablet', models.CharField(blank=True, max_length=60)),
                ('seq', models.PositiveIntegerField(default=0)),
                ('tablet_time', models.DateTimeField()),
                ('zone', models.CharField(blank=True, max_length=60)),
                ('clock_offset', models.FloatField(default=0)),
                ('at', models.DateTimeField()),
                ('received_at', models.DateTimeField()),
                ('addition', models.BooleanField(default=False)),
                ('author', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='entries', to=settings.AUTH_USER_MODEL)),
                ('visit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='entries', to='visits.visit')),
            ],
            options={
                'indexes': [models.Index(fields=['visit', 'at'], name='entry_by_visit')],
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['arrive', 'reading', 'task_done', 'task_left', 'water_change', 'dose', 'rate', 'refill', 'reagent_load', 'calibration', 'pump_check', 'treatment', 'livestock', 'photo', 'finding', 'recommendation', 'back_on', 'next_visit', 'field', 'correction', 'close'])), name='entry_kind_known')],
            },
        ),
    ]
