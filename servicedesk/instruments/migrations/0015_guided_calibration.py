"""A procedure of calibration, its steps, and what a calibration says that came of one."""

import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('dosing', '0004_driven_channels'),
        ('instruments', '0014_displays_added_only'),
        ('stock', '0003_vans_have_keepers_receipts_have_prices'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='calibration',
            name='after_reference',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='calibration',
            name='factor',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='calibration',
            name='left_as_is',
            field=models.BooleanField(null=True),
        ),
        migrations.AddField(
            model_name='calibration',
            name='lot',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.lot'),
        ),
        migrations.AddField(
            model_name='calibration',
            name='offset',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='calibration',
            name='offset_mv',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='calibration',
            name='slope_mv_per_ph',
            field=models.FloatField(null=True),
        ),
        migrations.CreateModel(
            name='Procedure',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(choices=[('two_buffers', 'two buffers'), ('cell', 'a standard for conductivity'), ('one_point', 'one known value'), ('line', 'two points of a line'), ('pump', 'by volume')], max_length=11)),
                ('begun_at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(null=True)),
                ('ended_as', models.CharField(blank=True, choices=[('agrees', 'a re-test agreed'), ('differs', 'a re-test did not agree'), ('left', 'left off')], default='', max_length=8)),
                ('visit', models.UUIDField(null=True)),
                ('task', models.UUIDField(null=True)),
                ('away_from', models.DateTimeField(null=True)),
                ('away_to', models.DateTimeField(null=True)),
                ('begun_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('channel', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='procedures', to='dosing.channel')),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='procedures', to='instruments.instrument')),
                ('measure', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='procedures', to='instruments.measure')),
            ],
        ),
        migrations.AddField(
            model_name='calibration',
            name='procedure',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='calibrations', to='instruments.procedure'),
        ),
        migrations.CreateModel(
            name='ProcedureStep',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('step', models.CharField(max_length=10)),
                ('at', models.DateTimeField()),
                ('words', models.CharField(max_length=300)),
                ('data', models.JSONField(default=dict)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.lot')),
                ('procedure', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='instruments.procedure')),
            ],
        ),
        migrations.AddConstraint(
            model_name='procedure',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('channel__isnull', True), ('measure__isnull', False)), models.Q(('channel__isnull', False), ('measure__isnull', True)), _connector='OR'), name='procedure_of_one_thing'),
        ),
        migrations.AddConstraint(
            model_name='procedure',
            constraint=models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True)), fields=('measure',), name='procedure_open_once'),
        ),
        migrations.AddConstraint(
            model_name='procedure',
            constraint=models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True)), fields=('channel',), name='procedure_of_channel_open_once'),
        ),
        migrations.AddConstraint(
            model_name='procedurestep',
            constraint=models.UniqueConstraint(fields=('origin', 'part'), name='procedure_step_once'),
        ),
    ]
