"""The tables of this room."""

import clients.models
import django.db.models.deletion
import django.db.models.functions.text
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('clients', '0001_initial'), ('clients', '0003_hours_and_second_days'), ('clients', '0004_told_of_moves'), ('clients', '0005_plan_changes')]

    initial = True

    dependencies = [
        ('staff', '0001_tables'),
        ('staff', '__first__'),
    ]

    operations = [
        migrations.CreateModel(
            name='Client',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=120)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('email', models.EmailField(blank=True, max_length=254)),
                ('address', models.CharField(blank=True, max_length=200)),
                ('internal_notes', models.TextField(blank=True)),
                ('since', models.DateField(blank=True, null=True)),
                ('retired_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'constraints': [models.UniqueConstraint(django.db.models.functions.text.Lower('name'), name='client_name_once')],
            },
        ),
        migrations.CreateModel(
            name='Site',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=120)),
                ('address', models.CharField(max_length=200)),
                ('town', models.CharField(blank=True, max_length=80)),
                ('lat', models.FloatField(blank=True, null=True)),
                ('lon', models.FloatField(blank=True, null=True)),
                ('zone', models.CharField(blank=True, max_length=60)),
                ('opens', models.TimeField(blank=True, null=True)),
                ('closes', models.TimeField(blank=True, null=True)),
                ('way_in', models.CharField(blank=True, max_length=300)),
                ('water_and_drain', models.CharField(blank=True, max_length=200)),
                ('on_site_phone', models.CharField(blank=True, max_length=40)),
                ('cautions', models.JSONField(blank=True, default=list)),
                ('key_code', models.CharField(blank=True, max_length=80)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('client', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sites', to='clients.client')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('client', 'name'), name='site_name_once_per_client')],
            },
        ),
        migrations.CreateModel(
            name='KeyLook',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='key_looks', to='clients.site')),
            ],
        ),
        migrations.CreateModel(
            name='SiteClosed',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('from_on', models.DateField()),
                ('until_on', models.DateField()),
                ('why', models.CharField(blank=True, max_length=100)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='closed_days', to='clients.site')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('from_on__lte', models.F('until_on'))), name='site_closed_in_order')],
            },
        ),
        migrations.CreateModel(
            name='SiteHours',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('weekdays', models.JSONField(default=clients.models.every_day)),
                ('opens', models.TimeField()),
                ('closes', models.TimeField()),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='hours', to='clients.site')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('opens__lt', models.F('closes'))), name='site_hours_in_order')],
            },
        ),
        migrations.CreateModel(
            name='Tank',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=80)),
                ('place', models.CharField(max_length=120)),
                ('water_type', models.CharField(choices=[('reef_soft', 'soft coral reef'), ('reef_mixed', 'mixed reef'), ('reef_stony', 'stony coral reef'), ('marine_fish', 'marine, fish only'), ('brackish', 'brackish'), ('fresh_community', 'fresh water, community'), ('fresh_soft', 'soft water'), ('planted', 'planted'), ('cichlid_hard', 'hard-water cichlids'), ('coldwater', 'cold water'), ('pond', 'pond')], max_length=20)),
                ('gross_l', models.FloatField()),
                ('net_l', models.FloatField()),
                ('net_l_u', models.FloatField(default=0)),
                ('photo', models.CharField(blank=True, max_length=200)),
                ('since', models.DateField(blank=True, null=True)),
                ('order', models.PositiveIntegerField(default=1)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='tanks', to='clients.site')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('site', 'name'), name='tank_name_once_per_site'), models.CheckConstraint(condition=models.Q(('net_l__gt', 0)), name='tank_net_volume_above_nought'), models.CheckConstraint(condition=models.Q(('gross_l__gte', models.F('net_l'))), name='tank_gross_holds_net'), models.CheckConstraint(condition=models.Q(('net_l_u__gte', 0)), name='tank_net_uncertainty_sound')],
            },
        ),
        migrations.CreateModel(
            name='Sight',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('first_day', models.DateField()),
                ('last_day', models.DateField()),
                ('why', models.CharField(choices=[('round', 'own round'), ('call_out', 'call-out')], max_length=10)),
                ('cause', models.UUIDField()),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='sights', to=settings.AUTH_USER_MODEL)),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='sights', to='clients.tank')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('user', 'tank', 'cause'), name='sight_once_per_cause'), models.CheckConstraint(condition=models.Q(('last_day__gte', models.F('first_day'))), name='sight_ends_after_start')],
            },
        ),
        migrations.CreateModel(
            name='ServicePlan',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=80)),
                ('every_weeks', models.PositiveIntegerField(default=2)),
                ('weekday', models.PositiveSmallIntegerField(default=0)),
                ('second_weekday', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('people', models.PositiveSmallIntegerField(default=1)),
                ('tolerance_days', models.PositiveSmallIntegerField(default=1)),
                ('minutes', models.PositiveIntegerField(default=45)),
                ('preferred_time', models.TimeField(blank=True, null=True)),
                ('price', models.DecimalField(blank=True, decimal_places=2, max_digits=9, null=True)),
                ('starts_on', models.DateField()),
                ('ends_on', models.DateField(blank=True, null=True)),
                ('skills', models.ManyToManyField(blank=True, related_name='plans', to='staff.skill')),
                ('technician', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plans', to=settings.AUTH_USER_MODEL)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plans', to='clients.site')),
                ('tanks', models.ManyToManyField(related_name='plans', to='clients.tank')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('every_weeks__gte', 1)), name='plan_every_week_or_more'), models.CheckConstraint(condition=models.Q(('weekday__lte', 6)), name='plan_weekday_known'), models.CheckConstraint(condition=models.Q(('second_weekday__isnull', True), models.Q(('second_weekday__lte', 6), models.Q(('second_weekday', models.F('weekday')), _negated=True)), _connector='OR'), name='plan_second_weekday_another'), models.CheckConstraint(condition=models.Q(('people__gte', 1), ('people__lte', 2)), name='plan_one_or_two_people'), models.UniqueConstraint(fields=('site', 'name'), name='plan_name_once_per_site')],
            },
        ),
        migrations.CreateModel(
            name='Livestock',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=80)),
                ('species', models.CharField(blank=True, max_length=80)),
                ('since', models.DateField(blank=True, null=True)),
                ('source', models.CharField(blank=True, max_length=120)),
                ('sensitive_to', models.JSONField(blank=True, default=list)),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='livestock', to='clients.tank')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('tank', 'name'), name='livestock_once_per_tank')],
            },
        ),
        migrations.CreateModel(
            name='Equipment',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(choices=[('return_pump', 'return pump'), ('circulation', 'circulation pump'), ('heater', 'heater'), ('chiller', 'chiller'), ('skimmer', 'skimmer'), ('filter', 'filter'), ('uv', 'UV lamp'), ('light', 'light'), ('top_up', 'top-up'), ('dosing_pump', 'dosing pump'), ('instrument', 'instrument'), ('purifier', 'water purifier'), ('other', 'other')], max_length=14)),
                ('name', models.CharField(max_length=80)),
                ('place', models.CharField(blank=True, max_length=120)),
                ('fitted_on', models.DateField(blank=True, null=True)),
                ('notes', models.CharField(blank=True, max_length=300)),
                ('back_on_check', models.BooleanField(default=False)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='equipment', to='clients.site')),
                ('tank', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='equipment', to='clients.tank')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('site', 'name'), name='equipment_name_once_per_site')],
            },
        ),
        migrations.CreateModel(
            name='TankStateRow',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('state', models.CharField(choices=[('normal', 'normal'), ('cycling', 'cycling'), ('treatment', 'treatment'), ('isolation', 'isolation'), ('low_salinity', 'low-salinity treatment'), ('heat', 'heat treatment'), ('winter', 'winter rest')], max_length=14)),
                ('from_on', models.DateField()),
                ('until_on', models.DateField(blank=True, null=True)),
                ('why', models.CharField(blank=True, max_length=200)),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='states', to='clients.tank')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('until_on__isnull', True), ('until_on__gte', models.F('from_on')), _connector='OR'), name='tank_state_ends_after_start'), models.UniqueConstraint(fields=('tank', 'from_on'), name='tank_state_once_a_day')],
            },
        ),
        migrations.CreateModel(
            name='Contact',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=80)),
                ('email', models.EmailField(max_length=254)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('gets_reports', models.BooleanField(default=True)),
                ('told_of_moves', models.BooleanField(default=False)),
                ('client', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='contacts', to='clients.client')),
                ('user', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='contact', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('client', 'email'), name='contact_once_per_client')],
            },
        ),
        migrations.CreateModel(
            name='LivestockFact',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('change', models.CharField(choices=[('added', 'added'), ('died', 'died'), ('moved', 'moved out')], max_length=6)),
                ('number', models.PositiveIntegerField()),
                ('at', models.DateTimeField()),
                ('cause', models.CharField(blank=True, max_length=200)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('livestock', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='facts', to='clients.livestock')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='livestock_fact_once')],
            },
        ),
        migrations.CreateModel(
            name='PlanChange',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('from_on', models.DateField()),
                ('was_weekday', models.PositiveSmallIntegerField()),
                ('was_second_weekday', models.PositiveSmallIntegerField(null=True)),
                ('was_starts_on', models.DateField()),
                ('weekday', models.PositiveSmallIntegerField()),
                ('second_weekday', models.PositiveSmallIntegerField(null=True)),
                ('starts_on', models.DateField()),
                ('called_off', models.JSONField(default=list)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('technician', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('was_technician', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('plan', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='changes', to='clients.serviceplan')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='plan_change_once'), models.CheckConstraint(condition=models.Q(('weekday__lte', 6)), name='plan_change_weekday_known'), models.CheckConstraint(condition=models.Q(('second_weekday__isnull', True), models.Q(('second_weekday__lte', 6), models.Q(('second_weekday', models.F('weekday')), _negated=True)), _connector='OR'), name='plan_change_second_weekday_another')],
            },
        ),
    ]
