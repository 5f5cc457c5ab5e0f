"""The tables of this room."""

import django.db.models.deletion
import django.db.models.functions.text
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('water', '0001_initial'), ('water', '0003_change_water'), ('water', '0004_method_scale'), ('water', '0005_held_values_are_decided'), ('water', '0006_bands_may_wait')]

    initial = True

    dependencies = [
        ('clients', '0001_tables'),
        ('staff', '__first__'),
        ('stock', '0001_tables'),
    ]

    operations = [
        migrations.CreateModel(
            name='Touched',
            fields=[
                ('tank', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='touched', serialize=False, to='clients.tank')),
                ('since', models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name='ChangeWater',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=100)),
                ('kind', models.CharField(choices=[('salt', 'mixed salt water'), ('fresh', 'fresh water')], max_length=5)),
                ('usual', models.BooleanField(default=True)),
                ('tested_on', models.DateField(blank=True, null=True)),
                ('salinity', models.FloatField(blank=True, null=True)),
                ('alkalinity_dkh', models.FloatField(blank=True, null=True)),
                ('general_hardness_dgh', models.FloatField(blank=True, null=True)),
                ('calcium_mg_l', models.FloatField(blank=True, null=True)),
                ('magnesium_mg_l', models.FloatField(blank=True, null=True)),
                ('nitrate_mg_l', models.FloatField(blank=True, null=True)),
                ('retired_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'constraints': [models.UniqueConstraint(django.db.models.functions.text.Lower('name'), name='change_water_name_once'), models.UniqueConstraint(condition=models.Q(('retired_on__isnull', True), ('usual', True)), fields=('kind',), name='change_water_usual_once'), models.CheckConstraint(condition=models.Q(('salinity__gte', 0)), name='change_water_salinity_sound'), models.CheckConstraint(condition=models.Q(('alkalinity_dkh__gte', 0)), name='change_water_alkalinity_dkh_sound'), models.CheckConstraint(condition=models.Q(('general_hardness_dgh__gte', 0)), name='change_water_general_hardness_dgh_sound'), models.CheckConstraint(condition=models.Q(('calcium_mg_l__gte', 0)), name='change_water_calcium_mg_l_sound'), models.CheckConstraint(condition=models.Q(('magnesium_mg_l__gte', 0)), name='change_water_magnesium_mg_l_sound'), models.CheckConstraint(condition=models.Q(('nitrate_mg_l__gte', 0)), name='change_water_nitrate_mg_l_sound')],
            },
        ),
        migrations.CreateModel(
            name='Method',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('parameter', models.CharField(max_length=30)),
                ('name', models.CharField(max_length=60)),
                ('kind', models.CharField(choices=[('photometer', 'photometer'), ('kit', 'titration kit'), ('probe', 'probe'), ('titrator', 'automatic titrator'), ('strip', 'test strip'), ('laboratory', 'laboratory')], max_length=10)),
                ('tolerance_abs', models.FloatField(default=0)),
                ('tolerance_rel', models.FloatField(default=0)),
                ('resolution', models.FloatField(default=0)),
                ('unit', models.CharField(blank=True, max_length=20)),
                ('reference_c', models.FloatField(blank=True, null=True)),
                ('compensates', models.BooleanField(default=False)),
                ('minutes', models.FloatField(default=2)),
                ('ml_per_test', models.FloatField(default=0)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('reagent', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='methods', to='stock.item')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('parameter', 'name'), name='method_name_once_per_parameter'), models.CheckConstraint(condition=models.Q(('resolution__gte', 0), ('tolerance_abs__gte', 0), ('tolerance_rel__gte', 0)), name='method_tolerance_sound')],
            },
        ),
        migrations.CreateModel(
            name='Reading',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('seq', models.PositiveSmallIntegerField(default=0)),
                ('value', models.FloatField()),
                ('entered', models.CharField(max_length=20)),
                ('entered_unit', models.CharField(max_length=20)),
                ('flags', models.PositiveSmallIntegerField(default=0)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='Correction',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('number', models.PositiveSmallIntegerField()),
                ('old', models.FloatField()),
                ('new', models.FloatField(null=True)),
                ('at', models.DateTimeField()),
                ('why', models.CharField(max_length=200)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('reading', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='corrections', to='water.reading')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('reading', 'number'), name='correction_number_once'), models.UniqueConstraint(fields=('origin', 'part'), name='correction_once')],
            },
        ),
        migrations.CreateModel(
            name='Series',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('parameter', models.CharField(max_length=30)),
                ('method', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='series', to='water.method')),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='series', to='clients.tank')),
            ],
        ),
        migrations.AddField(
            model_name='reading',
            name='series',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='water.series'),
        ),
        migrations.CreateModel(
            name='DayRoll',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('day', models.DateField()),
                ('count', models.PositiveIntegerField()),
                ('total', models.FloatField()),
                ('least', models.FloatField()),
                ('most', models.FloatField()),
                ('series', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='days', to='water.series')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('series', 'day'), name='day_roll_once')],
            },
        ),
        migrations.CreateModel(
            name='Source',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('hand', 'by hand'), ('equipment', 'instrument')], max_length=9)),
                ('equipment', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='source', to='clients.equipment')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('equipment__isnull', True), ('kind', 'hand')), models.Q(('equipment__isnull', False), ('kind', 'equipment')), _connector='OR'), name='source_has_equipment_or_is_hand'), models.UniqueConstraint(condition=models.Q(('kind', 'hand')), fields=('kind',), name='source_by_hand_once')],
            },
        ),
        migrations.AddField(
            model_name='series',
            name='source',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='series', to='water.source'),
        ),
        migrations.CreateModel(
            name='TankChangeWater',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('tank', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='change_water', to='clients.tank')),
                ('water', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='tanks', to='water.changewater')),
            ],
        ),
        migrations.CreateModel(
            name='TankTest',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('parameter', models.CharField(max_length=30)),
                ('order', models.PositiveIntegerField(default=1)),
                ('every_days', models.PositiveIntegerField(default=14)),
                ('method', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='water.method')),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tests', to='clients.tank')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('tank', 'parameter'), name='tank_test_once')],
            },
        ),
        migrations.CreateModel(
            name='WaterChange',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('litres', models.FloatField()),
                ('salinity', models.FloatField(null=True)),
                ('temperature_c', models.FloatField(null=True)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='water_changes', to='clients.tank')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='water_change_once'), models.CheckConstraint(condition=models.Q(('litres__gt', 0)), name='water_change_above_nought')],
            },
        ),
        migrations.CreateModel(
            name='Band',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('parameter', models.CharField(max_length=30)),
                ('unit', models.CharField(max_length=20)),
                ('low', models.FloatField(blank=True, null=True)),
                ('target', models.FloatField(blank=True, null=True)),
                ('high', models.FloatField(blank=True, null=True)),
                ('alarm_low', models.FloatField(blank=True, null=True)),
                ('alarm_high', models.FloatField(blank=True, null=True)),
                ('max_rise_per_day', models.FloatField(blank=True, null=True)),
                ('max_fall_per_day', models.FloatField(blank=True, null=True)),
                ('deadband', models.FloatField(blank=True, null=True)),
                ('wait_minutes', models.PositiveSmallIntegerField(default=0)),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='bands', to='clients.tank')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('deadband__isnull', True), ('deadband__gte', 0), _connector='OR'), name='band_deadband_sound'), models.CheckConstraint(condition=models.Q(('wait_minutes__lte', 1440)), name='band_waits_a_day_at_most'), models.UniqueConstraint(fields=('tank', 'parameter'), name='band_once'), models.CheckConstraint(condition=models.Q(('low__isnull', True), ('high__isnull', True), ('low__lt', models.F('high')), _connector='OR'), name='band_low_under_high'), models.CheckConstraint(condition=models.Q(('alarm_low__isnull', True), ('low__isnull', True), ('alarm_low__lte', models.F('low')), _connector='OR'), name='band_limit_under_low'), models.CheckConstraint(condition=models.Q(('alarm_high__isnull', True), ('high__isnull', True), ('alarm_high__gte', models.F('high')), _connector='OR'), name='band_limit_over_high')],
            },
        ),
        migrations.CreateModel(
            name='HeldReading',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('parameter', models.CharField(max_length=30)),
                ('at', models.DateTimeField(null=True)),
                ('entered', models.CharField(max_length=40)),
                ('entered_unit', models.CharField(max_length=20)),
                ('reason', models.CharField(max_length=200)),
                ('origin', models.UUIDField()),
                ('part', models.PositiveIntegerField(default=0)),
                ('received_at', models.DateTimeField()),
                ('decided_at', models.DateTimeField(blank=True, null=True)),
                ('decision', models.CharField(blank=True, choices=[('released', 'taken in'), ('discarded', 'left out')], default='', max_length=9)),
                ('decided_why', models.CharField(blank=True, default='', max_length=200)),
                ('decided_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('equipment', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='held_readings', to='clients.equipment')),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='held_readings', to='clients.tank')),
            ],
            options={
                'indexes': [models.Index(condition=models.Q(('decided_at__isnull', True)), fields=['received_at'], name='held_reading_waiting')],
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='held_reading_once'), models.CheckConstraint(condition=models.Q(models.Q(('decided_at__isnull', True), ('decision', '')), models.Q(models.Q(('decision', ''), _negated=True), ('decided_at__isnull', False)), _connector='OR'), name='held_reading_decided_whole')],
            },
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.UniqueConstraint(fields=('series', 'at', 'seq'), name='reading_once'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.UniqueConstraint(fields=('origin', 'part'), name='reading_part_once'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.CheckConstraint(condition=models.Q(('value__gte', -1000000.0), ('value__lte', 1000000.0)), name='reading_value_finite'),
        ),
        migrations.AddConstraint(
            model_name='series',
            constraint=models.UniqueConstraint(fields=('tank', 'parameter', 'source', 'method'), name='series_once'),
        ),
    ]
