"""The tables of this room."""

import django.db.models.deletion
import uuid
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('supply', '0001_initial'), ('supply', '0002_run_out')]

    initial = True

    dependencies = [
        ('clients', '0001_tables'),
        ('stock', '0001_tables'),
    ]

    operations = [
        migrations.CreateModel(
            name='RunOut',
            fields=[
                ('id', models.UUIDField(editable=False, primary_key=True, serialize=False)),
                ('what', models.CharField(max_length=200)),
                ('empty_on', models.DateField()),
                ('fill', models.FloatField()),
                ('worked_at', models.DateTimeField()),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='stock.item')),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='clients.tank')),
            ],
        ),
        migrations.CreateModel(
            name='Reminder',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('day', models.DateField()),
                ('empty_on', models.DateField()),
                ('order_by', models.DateField()),
                ('why', models.CharField(max_length=300)),
                ('made_at', models.DateTimeField()),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='reminders', to='stock.item')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('item', 'day'), name='reminder_once_a_day')],
            },
        ),
    ]
