"""The tables of this room."""

import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('dosing', '0001_initial'), ('dosing', '0003_treatments'), ('dosing', '0004_driven_channels'), ('dosing', '0005_doses_by_time')]

    initial = True

    dependencies = [
        ('clients', '0001_tables'),
        ('staff', '__first__'),
        ('stock', '0001_tables'),
    ]

    operations = [
        migrations.CreateModel(
            name='Channel',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('number', models.PositiveSmallIntegerField(default=1)),
                ('container_ml', models.FloatField(default=1000)),
                ('step_ml', models.FloatField(default=0.1)),
                ('max_ml_per_day', models.FloatField(blank=True, null=True)),
                ('driven', models.BooleanField(default=False)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('equipment', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='channels', to='clients.equipment')),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='channels', to='clients.tank')),
            ],
        ),
        migrations.CreateModel(
            name='Solution',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('parameter', models.CharField(max_length=30)),
                ('per_ml', models.FloatField()),
                ('per_ml_u_rel', models.FloatField(default=0.02)),
                ('composition', models.CharField(blank=True, max_length=120)),
                ('item', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='solution', to='stock.item')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('per_ml__gt', 0)), name='solution_strength_above_nought')],
            },
        ),
        migrations.CreateModel(
            name='Dose',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('kind', models.CharField(choices=[('by_hand', 'by hand'), ('commanded', 'reported by the pump')], max_length=9)),
                ('at', models.DateTimeField()),
                ('ml', models.FloatField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('channel', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='doses', to='dosing.channel')),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='doses', to='clients.tank')),
                ('solution', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='doses', to='dosing.solution')),
            ],
            options={
                'indexes': [models.Index(fields=['tank', 'at'], name='dose_by_time')],
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='dose_once'), models.CheckConstraint(condition=models.Q(('ml__gte', 0)), name='dose_not_negative')],
            },
        ),
        migrations.AddField(
            model_name='channel',
            name='solution',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='channels', to='dosing.solution'),
        ),
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
        migrations.CreateModel(
            name='PumpCheck',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('asked_ml', models.FloatField()),
                ('before_ml', models.FloatField()),
                ('after_ml', models.FloatField(null=True)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('channel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='checks', to='dosing.channel')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='pump_check_once'), models.CheckConstraint(condition=models.Q(('asked_ml__gt', 0), ('before_ml__gte', 0)), name='pump_check_sound')],
            },
        ),
        migrations.CreateModel(
            name='RateChange',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('ml_per_day', models.FloatField()),
                ('until', models.DateTimeField(null=True)),
                ('why', models.CharField(blank=True, max_length=200)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('channel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='rates', to='dosing.channel')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='rate_change_once'), models.CheckConstraint(condition=models.Q(('ml_per_day__gte', 0)), name='rate_not_negative')],
            },
        ),
        migrations.CreateModel(
            name='Refill',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('ml_before', models.FloatField(null=True)),
                ('ml_now', models.FloatField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('channel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='refills', to='dosing.channel')),
                ('lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.lot')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='refill_once'), models.CheckConstraint(condition=models.Q(('ml_now__gte', 0)), name='refill_not_negative')],
            },
        ),
        migrations.AddConstraint(
            model_name='channel',
            constraint=models.UniqueConstraint(fields=('equipment', 'number'), name='channel_number_once'),
        ),
        migrations.AddConstraint(
            model_name='channel',
            constraint=models.CheckConstraint(condition=models.Q(('container_ml__gt', 0)), name='container_above_nought'),
        ),
    ]
