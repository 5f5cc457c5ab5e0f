"""The tables of this room."""

import datetime
import django.db.models.deletion
import django.db.models.functions.text
import servicedesk.staff.models
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('staff', '0001_initial'), ('staff', '0002_how_people_work')]

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='User',
            fields=[
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('email', models.EmailField(max_length=254, unique=True)),
                ('name', models.CharField(max_length=80)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('role', models.CharField(choices=[('owner', 'owner'), ('office', 'office'), ('technician', 'technician'), ('client', 'client contact'), ('instrument', 'instrument')], max_length=12)),
                ('zone', models.CharField(default='Europe/London', max_length=60)),
                ('light', models.CharField(blank=True, choices=[('', 'as the device has it'), ('day', 'day'), ('cellar', 'cellar'), ('sun', 'sun')], default='', max_length=8)),
                ('hand', models.CharField(choices=[('right', 'right-handed'), ('left', 'left-handed')], default='right', max_length=6)),
                ('is_active', models.BooleanField(default=True)),
                ('joined_on', models.DateField(blank=True, null=True)),
                ('cautions_seen_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'constraints': [models.UniqueConstraint(django.db.models.functions.text.Lower('email'), name='user_email_once'), models.CheckConstraint(condition=models.Q(('role__in', ['owner', 'office', 'technician', 'client', 'instrument'])), name='user_role_known')],
            },
        ),
        migrations.CreateModel(
            name='Business',
            fields=[
                ('only', models.BooleanField(default=True, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=120)),
                ('address', models.CharField(blank=True, max_length=200)),
                ('phone', models.CharField(blank=True, max_length=40)),
                ('emergency_phone', models.CharField(blank=True, max_length=40)),
                ('email', models.EmailField(blank=True, max_length=254)),
                ('zone', models.CharField(default='Europe/London', max_length=60)),
                ('currency', models.CharField(default='EUR', max_length=3)),
                ('day_starts', models.TimeField(default='08:00')),
                ('day_ends', models.TimeField(default='17:00')),
                ('country', models.CharField(blank=True, max_length=2)),
                ('region', models.CharField(blank=True, max_length=6)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('only', True)), name='one_business')],
            },
        ),
        migrations.CreateModel(
            name='Skill',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=60)),
                ('retired_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'constraints': [models.UniqueConstraint(django.db.models.functions.text.Lower('name'), name='skill_name_once')],
            },
        ),
        migrations.CreateModel(
            name='Working',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('weekdays', models.JSONField(default=servicedesk.staff.models.workdays)),
                ('shift_begins', models.TimeField(default=datetime.time(8, 0))),
                ('shift_ends', models.TimeField(default=datetime.time(17, 0))),
                ('lunch_minutes', models.PositiveSmallIntegerField(default=30)),
                ('lunch_from', models.TimeField(default=datetime.time(11, 30))),
                ('lunch_until', models.TimeField(default=datetime.time(13, 30))),
                ('overtime_minutes', models.PositiveSmallIntegerField(default=0)),
                ('overtime_price', models.DecimalField(blank=True, decimal_places=2, max_digits=7, null=True)),
                ('begins_at', models.CharField(choices=[('home', 'at home'), ('store', 'at the store')], default='home', max_length=5)),
                ('ends_at', models.CharField(choices=[('home', 'at home'), ('store', 'at the store')], default='home', max_length=5)),
                ('home_lat', models.FloatField(blank=True, null=True)),
                ('home_lon', models.FloatField(blank=True, null=True)),
                ('person', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='working', to=settings.AUTH_USER_MODEL)),
                ('skills', models.ManyToManyField(blank=True, related_name='held_by', to='staff.skill')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('shift_begins__lt', models.F('shift_ends'))), name='working_shift_in_order'), models.CheckConstraint(condition=models.Q(('lunch_minutes', 0), ('lunch_from__lte', models.F('lunch_until')), _connector='OR'), name='working_lunch_in_order'), models.CheckConstraint(condition=models.Q(('lunch_minutes__lte', 180)), name='working_lunch_three_hours'), models.CheckConstraint(condition=models.Q(('overtime_minutes__lte', 480)), name='working_overtime_eight_hours'), models.CheckConstraint(condition=models.Q(models.Q(('home_lat__isnull', True), ('home_lon__isnull', True)), models.Q(('home_lat__isnull', False), ('home_lat__range', (-90, 90)), ('home_lon__isnull', False), ('home_lon__range', (-180, 180))), _connector='OR'), name='working_home_whole')],
            },
        ),
    ]
