"""The tables of this room."""

import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('reports', '0001_initial'), ('reports', '0002_answers'), ('reports', '0004_overtaken')]

    initial = True

    dependencies = [
        ('staff', '__first__'),
        ('visits', '0001_tables'),
    ]

    operations = [
        migrations.CreateModel(
            name='Running',
            fields=[
                ('year', models.PositiveIntegerField(primary_key=True, serialize=False)),
                ('last', models.PositiveIntegerField(default=0)),
            ],
        ),
        migrations.CreateModel(
            name='Paper',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(choices=[('overdue', 'overdue maintenance')], max_length=10)),
                ('day', models.DateField()),
                ('file', models.CharField(max_length=120)),
                ('made_at', models.DateTimeField()),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('kind', 'day'), name='paper_once_a_day')],
            },
        ),
        migrations.CreateModel(
            name='Report',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('version', models.PositiveIntegerField()),
                ('number', models.CharField(max_length=20)),
                ('job', models.UUIDField(blank=True, null=True)),
                ('state', models.CharField(choices=[('waiting', 'being made'), ('held', 'waits for your word'), ('ready', 'ready'), ('failed', 'failed'), ('replaced', 'overtaken by a later version')], default='waiting', max_length=8)),
                ('verdict', models.CharField(blank=True, choices=[('well', 'All is well'), ('watching', 'We are watching'), ('acting', 'We are acting')], max_length=8)),
                ('sentence', models.CharField(blank=True, max_length=400)),
                ('hold_reasons', models.JSONField(blank=True, default=list)),
                ('changes', models.JSONField(blank=True, default=list)),
                ('content', models.JSONField(blank=True, default=dict)),
                ('data_at', models.DateTimeField(blank=True, null=True)),
                ('file', models.CharField(blank=True, max_length=120)),
                ('sha256', models.CharField(blank=True, max_length=64)),
                ('error', models.TextField(blank=True)),
                ('made_at', models.DateTimeField()),
                ('released_at', models.DateTimeField(blank=True, null=True)),
                ('released_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('visit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reports', to='visits.visit')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('visit', 'version'), name='report_version_once'), models.UniqueConstraint(fields=('number', 'version'), name='report_number_once'), models.CheckConstraint(condition=models.Q(('state__in', ['waiting', 'held', 'ready', 'failed', 'replaced'])), name='report_state_known')],
            },
        ),
        migrations.CreateModel(
            name='Answer',
            fields=[
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('question', models.UUIDField(db_index=True)),
                ('yes', models.BooleanField()),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('report', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='answers', to='reports.report')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='answer_once')],
            },
        ),
    ]
