"""Ways of testing to choose from, before anything is bought."""


import servicedesk.instruments.models
import uuid
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('instruments', '0003_passes_have_labels'),
    ]

    operations = [
        migrations.CreateModel(
            name='Candidate',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=60, unique=True)),
                ('measures', models.TextField(validators=[servicedesk.instruments.models.can_be_read])),
                ('unattended', models.BooleanField(default=False)),
                ('most_per_day', models.FloatField(default=24)),
                ('setup_minutes', models.FloatField(default=0)),
                ('upkeep_minutes', models.FloatField(default=0)),
                ('test_minutes', models.FloatField(default=0)),
                ('price', models.DecimalField(decimal_places=2, default=0, max_digits=9)),
                ('month_cost', models.DecimalField(decimal_places=2, default=0, max_digits=9)),
                ('test_cost', models.DecimalField(decimal_places=4, default=0, max_digits=9)),
                ('noise_db', models.FloatField(blank=True, null=True)),
                ('needs_mains', models.BooleanField(default=False)),
                ('needs_network', models.BooleanField(default=False)),
                ('needs_drain', models.BooleanField(default=False)),
                ('needs_shelf', models.BooleanField(default=False)),
                ('cannot_tell', models.CharField(blank=True, max_length=200)),
                ('fails_by', models.CharField(blank=True, max_length=200)),
                ('retired_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('most_per_day__gt', 0), ('setup_minutes__gte', 0), ('test_minutes__gte', 0), ('upkeep_minutes__gte', 0)), name='candidate_minutes_sound'), models.CheckConstraint(condition=models.Q(('month_cost__gte', 0), ('price__gte', 0), ('test_cost__gte', 0)), name='candidate_costs_sound')],
            },
        ),
    ]
