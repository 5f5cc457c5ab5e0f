"""The tables of this room."""

import datetime
import django.db.models.deletion
import servicedesk.watch.models
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('watch', '0001_initial'), ('watch', '0002_what_is_left_off'), ('watch', '0003_rows_name_instruments'), ('watch', '0004_alarms'), ('watch', '0006_reach'), ('watch', '0007_browsers')]

    initial = True

    dependencies = [
        ('clients', '0001_tables'),
        ('dispatch', '0001_tables'),
        ('instruments', '0001_tables'),
        ('staff', '__first__'),
    ]

    operations = [
        migrations.CreateModel(
            name='Awake',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name='Attention',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('key', models.CharField(max_length=160)),
                ('kind', models.CharField(choices=[('beyond_limit', 'beyond the limit'), ('out_of_band', 'out of band'), ('silent', 'silent'), ('disagrees', 'instrument disagrees'), ('stuck', 'instrument stuck'), ('useless', 'alive but useless'), ('sign', 'instrument reports a fault'), ('drifts', 'instrument drifts'), ('jump', 'a single value stands away'), ('speed', 'changes too fast'), ('foreseen', 'will go wrong as it is set'), ('running_out', 'running out'), ('death', 'a death'), ('report', 'report'), ('plan', 'plan'), ('left_off', 'left off')], max_length=12)),
                ('severity', models.PositiveSmallIntegerField(choices=[(1, 'now'), (2, 'soon'), (3, 'watch')])),
                ('parameter', models.CharField(blank=True, max_length=30)),
                ('word', models.CharField(blank=True, max_length=20)),
                ('sentence', models.CharField(max_length=300)),
                ('why', models.CharField(blank=True, max_length=400)),
                ('address', models.CharField(blank=True, max_length=200)),
                ('harm_at', models.DateTimeField(blank=True, null=True)),
                ('since', models.DateTimeField()),
                ('seen_at', models.DateTimeField(blank=True, null=True)),
                ('acted_at', models.DateTimeField(blank=True, null=True)),
                ('acted_words', models.CharField(blank=True, max_length=200)),
                ('shelved_until', models.DateTimeField(blank=True, null=True)),
                ('shelved_why', models.CharField(blank=True, max_length=200)),
                ('opened', models.PositiveIntegerField(default=1)),
                ('changed_at', models.DateTimeField(null=True)),
                ('calm_since', models.DateTimeField(null=True)),
                ('cleared_at', models.DateTimeField(blank=True, null=True)),
                ('acted_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('handed_to', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('instrument', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='attention', to='instruments.instrument')),
                ('seen_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('shelved_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('site', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='attention', to='clients.site')),
                ('tank', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='attention', to='clients.tank')),
            ],
            options={
                'indexes': [models.Index(fields=['key', 'cleared_at'], name='attention_by_key')],
                'constraints': [models.UniqueConstraint(condition=models.Q(('cleared_at__isnull', True)), fields=('key',), name='attention_open_once'), models.CheckConstraint(condition=models.Q(('shelved_until__isnull', True), ('shelved_by__isnull', False), _connector='OR'), name='attention_shelved_by')],
            },
        ),
        migrations.CreateModel(
            name='AttentionStep',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('step', models.CharField(choices=[('told', 'told'), ('seen', 'seen'), ('acted', 'acted on'), ('handed', 'handed on'), ('shelved', 'set aside'), ('taken_up', 'taken up again'), ('cleared', 'cleared')], max_length=8)),
                ('at', models.DateTimeField()),
                ('words', models.CharField(blank=True, max_length=200)),
                ('attention', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='watch.attention')),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'indexes': [models.Index(fields=['attention', 'at'], name='attention_steps')],
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='attention_step_once')],
            },
        ),
        migrations.CreateModel(
            name='Away',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('from_on', models.DateField()),
                ('until_on', models.DateField()),
                ('why', models.CharField(blank=True, max_length=100)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='away', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('until_on__gte', models.F('from_on'))), name='away_in_order')],
            },
        ),
        migrations.CreateModel(
            name='Duty',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('weekdays', models.JSONField(default=servicedesk.watch.models.every_day)),
                ('begins', models.TimeField(default=datetime.time(0, 0))),
                ('ends', models.TimeField(default=datetime.time(0, 0))),
                ('order', models.PositiveSmallIntegerField(default=1)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='duties', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='OwnBrowser',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=60)),
                ('told_of', models.PositiveSmallIntegerField(choices=[(1, 'only what cannot wait'), (2, 'every alarm')], default=1)),
                ('off_at', models.DateTimeField(blank=True, null=True)),
                ('gone_told_at', models.DateTimeField(blank=True, null=True)),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='browsers', to=settings.AUTH_USER_MODEL)),
                ('subscription', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='browser', to='dispatch.subscription')),
            ],
        ),
        migrations.CreateModel(
            name='Reach',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('reached_at', models.CharField(blank=True, max_length=120)),
                ('told_of', models.PositiveSmallIntegerField(choices=[(1, 'only what cannot wait'), (2, 'every alarm')], default=1)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('gateway', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='reaches', to='dispatch.gateway')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='reaches', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='Telling',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('place', models.PositiveSmallIntegerField(default=0)),
                ('message_key', models.CharField(max_length=200)),
                ('digest', models.BooleanField(default=False)),
                ('at', models.DateTimeField()),
                ('attention', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tellings', to='watch.attention')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tellings', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'indexes': [models.Index(fields=['person', 'at'], name='telling_by_person')],
                'constraints': [models.UniqueConstraint(fields=('attention', 'person'), name='telling_once')],
            },
        ),
    ]
