"""The tables of this room."""

import django.db.models.deletion
import uuid
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('dispatch', '0001_initial'), ('dispatch', '0002_job_last'), ('dispatch', '0003_withdrawal'), ('dispatch', '0005_gateways'), ('dispatch', '0006_browsers')]

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='Erasure',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('opened_at', models.DateTimeField()),
                ('closed_at', models.DateTimeField(blank=True, null=True)),
                ('why', models.CharField(max_length=200)),
            ],
        ),
        migrations.CreateModel(
            name='Gateway',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=60)),
                ('url', models.URLField(max_length=300)),
                ('body', models.CharField(choices=[('application/json', 'JSON'), ('application/x-www-form-urlencoded', 'a web form'), ('text/plain; charset=utf-8', 'plain text')], default='application/json', max_length=40)),
                ('template', models.TextField(max_length=2000)),
                ('header', models.CharField(blank=True, max_length=300)),
                ('signing_key', models.CharField(blank=True, max_length=120)),
                ('retired_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('url', ''), _negated=True), models.Q(('template', ''), _negated=True)), name='gateway_has_address')],
            },
        ),
        migrations.CreateModel(
            name='Job',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(max_length=60)),
                ('key', models.CharField(max_length=200, unique=True)),
                ('args', models.JSONField(default=dict)),
                ('state', models.CharField(choices=[('queued', 'waiting'), ('running', 'under way'), ('done', 'done'), ('failed', 'failed'), ('held', 'held')], default='queued', max_length=10)),
                ('attempt', models.PositiveIntegerField(default=0)),
                ('not_before', models.DateTimeField(blank=True, null=True)),
                ('lease_until', models.DateTimeField(blank=True, null=True)),
                ('rung_at', models.DateTimeField(blank=True, null=True)),
                ('progress_done', models.PositiveIntegerField(default=0)),
                ('progress_total', models.PositiveIntegerField(default=0)),
                ('progress_note', models.CharField(blank=True, max_length=200)),
                ('result', models.JSONField(default=dict)),
                ('error', models.TextField(blank=True)),
                ('made_at', models.DateTimeField()),
                ('finished_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'indexes': [models.Index(fields=['state', 'lease_until'], name='job_open'), models.Index(fields=['kind', 'finished_at'], name='job_last')],
                'constraints': [models.CheckConstraint(condition=models.Q(('state__in', ['queued', 'running', 'done', 'failed', 'held'])), name='job_state_known'), models.CheckConstraint(condition=models.Q(('finished_at__isnull', True), ('state__in', ['done', 'failed']), _connector='OR'), name='job_finished_has_end')],
            },
        ),
        migrations.CreateModel(
            name='Subscription',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('endpoint', models.CharField(blank=True, max_length=1000)),
                ('p256dh', models.CharField(blank=True, max_length=100)),
                ('auth', models.CharField(blank=True, max_length=40)),
                ('made_at', models.DateTimeField()),
                ('last_ok_at', models.DateTimeField(blank=True, null=True)),
                ('gone_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'constraints': [models.UniqueConstraint(condition=models.Q(('gone_at__isnull', True)), fields=('endpoint',), name='subscription_once'), models.CheckConstraint(condition=models.Q(models.Q(('gone_at__isnull', True), models.Q(('endpoint', ''), _negated=True), models.Q(('p256dh', ''), _negated=True), models.Q(('auth', ''), _negated=True)), models.Q(('auth', ''), ('endpoint', ''), ('gone_at__isnull', False), ('p256dh', '')), _connector='OR'), name='subscription_has_keys_or_is_gone')],
            },
        ),
        migrations.CreateModel(
            name='Withdrawal',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('withdrawn', models.UUIDField(unique=True)),
                ('at', models.DateTimeField()),
                ('why', models.CharField(max_length=200)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='withdrawal_once')],
            },
        ),
        migrations.CreateModel(
            name='Message',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('key', models.CharField(max_length=200, unique=True)),
                ('channel', models.CharField(choices=[('mail', 'mail'), ('gateway', 'gateway'), ('push', 'browser')], default='mail', max_length=10)),
                ('recipient', models.CharField(max_length=254)),
                ('message_id', models.CharField(max_length=200, unique=True)),
                ('subject', models.CharField(max_length=200)),
                ('text', models.TextField()),
                ('html', models.TextField(blank=True)),
                ('link', models.CharField(blank=True, max_length=200)),
                ('urgent', models.BooleanField(default=False)),
                ('attachment', models.CharField(blank=True, max_length=300)),
                ('attachment_name', models.CharField(blank=True, max_length=120)),
                ('state', models.CharField(choices=[('held', "held for the owner's word"), ('queued', 'waiting'), ('sending', 'being sent'), ('sent', 'sent'), ('unsure', 'may have been sent twice'), ('failed', 'failed')], default='queued', max_length=10)),
                ('tries', models.PositiveIntegerField(default=0)),
                ('not_before', models.DateTimeField(blank=True, null=True)),
                ('lease_until', models.DateTimeField(blank=True, null=True)),
                ('error', models.TextField(blank=True)),
                ('made_at', models.DateTimeField()),
                ('sent_at', models.DateTimeField(blank=True, null=True)),
                ('gateway', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='dispatch.gateway')),
                ('job', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='dispatch.job')),
                ('subscription', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='messages', to='dispatch.subscription')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('state__in', ['held', 'queued', 'sending', 'sent', 'unsure', 'failed'])), name='message_state_known'), models.CheckConstraint(condition=models.Q(('sent_at__isnull', True), ('state', 'sent'), _connector='OR'), name='message_sent_has_time'), models.CheckConstraint(condition=models.Q(models.Q(('channel', 'mail'), ('gateway__isnull', True), ('subscription__isnull', True)), models.Q(('channel', 'gateway'), ('gateway__isnull', False), ('subscription__isnull', True)), models.Q(('channel', 'push'), ('gateway__isnull', True), ('subscription__isnull', False)), _connector='OR'), name='message_way_by_channel')],
            },
        ),
    ]
