"""The tables of this room."""

import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('upkeep', '0001_initial')]

    initial = True

    dependencies = [
        ('clients', '0001_tables'),
        ('staff', '__first__'),
        ('stock', '0001_tables'),
    ]

    operations = [
        migrations.CreateModel(
            name='TaskRule',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('title', models.CharField(max_length=100)),
                ('how', models.TextField(blank=True)),
                ('every', models.PositiveIntegerField(default=4)),
                ('unit', models.CharField(choices=[('days', 'days'), ('weeks', 'weeks'), ('months', 'months')], default='weeks', max_length=6)),
                ('starts_on', models.DateField()),
                ('before_days', models.PositiveIntegerField(default=3)),
                ('after_days', models.PositiveIntegerField(default=3)),
                ('minutes', models.PositiveIntegerField(default=5)),
                ('hazards', models.JSONField(blank=True, default=list)),
                ('carry_amount', models.FloatField(default=0)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('carry', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.item')),
                ('equipment', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='task_rules', to='clients.equipment')),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='task_rules', to='clients.tank')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('tank', 'title'), name='task_rule_title_once'), models.CheckConstraint(condition=models.Q(('every__gte', 1)), name='task_rule_every_one_or_more')],
            },
        ),
        migrations.CreateModel(
            name='Task',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('key', models.CharField(max_length=120, unique=True)),
                ('title', models.CharField(max_length=100)),
                ('why', models.CharField(blank=True, max_length=200)),
                ('earliest', models.DateField()),
                ('due', models.DateField()),
                ('latest', models.DateField()),
                ('minutes', models.PositiveIntegerField(default=5)),
                ('hazards', models.JSONField(blank=True, default=list)),
                ('state', models.CharField(choices=[('open', 'open'), ('done', 'done'), ('called_off', 'called off')], default='open', max_length=10)),
                ('made_at', models.DateTimeField()),
                ('equipment', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='tasks', to='clients.equipment')),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='tasks', to='clients.tank')),
                ('rule', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='tasks', to='upkeep.taskrule')),
            ],
            options={
                'indexes': [models.Index(fields=['state', 'latest'], name='task_open_by_latest')],
                'constraints': [models.CheckConstraint(condition=models.Q(('due__lte', models.F('latest')), ('earliest__lte', models.F('due'))), name='task_window_in_order'), models.CheckConstraint(condition=models.Q(('state__in', ['open', 'done', 'called_off'])), name='task_state_known')],
            },
        ),
        migrations.CreateModel(
            name='TaskFact',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('outcome', models.CharField(choices=[('done', 'done'), ('left', 'left')], max_length=4)),
                ('reason', models.CharField(blank=True, max_length=200)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('task', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='facts', to='upkeep.task')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='task_fact_once'), models.CheckConstraint(condition=models.Q(('outcome', 'done'), models.Q(('reason', ''), _negated=True), _connector='OR'), name='task_left_has_reason')],
            },
        ),
    ]
