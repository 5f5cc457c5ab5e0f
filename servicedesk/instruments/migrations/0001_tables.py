"""The tables of this room."""

import django.core.validators
import django.db.models.deletion
import servicedesk.instruments.models
import servicedesk.instruments.models.choosing
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('instruments', '0001_initial'), ('instruments', '0003_passes_have_labels'), ('instruments', '0004_ways_to_choose_from'), ('instruments', '0005_kinds_of_instrument'), ('instruments', '0007_habits'), ('instruments', '0008_names_on_the_broker'), ('instruments', '0009_addresses_that_are_asked'), ('instruments', '0010_brought_into_use'), ('instruments', '0012_lines_and_limits'), ('instruments', '0013_displays_read'), ('instruments', '0015_guided_calibration'), ('instruments', '0017_relays')]

    initial = True

    dependencies = [
        ('clients', '0001_tables'),
        ('dosing', '0001_tables'),
        ('staff', '__first__'),
        ('stock', '0001_tables'),
        ('water', '0001_tables'),
    ]

    operations = [
        migrations.CreateModel(
            name='Candidate',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=60, unique=True)),
                ('measures', models.TextField(validators=[servicedesk.instruments.models.choosing.can_be_read])),
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
        migrations.CreateModel(
            name='Instrument',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('interval_minutes', models.PositiveIntegerField(default=360)),
                ('grace_minutes', models.PositiveIntegerField(default=60)),
                ('last_contact_at', models.DateTimeField(blank=True, null=True)),
                ('silent_after_minutes', models.PositiveIntegerField(editable=False, null=True)),
                ('reports_by', models.CharField(choices=[('https', 'sends by HTTPS'), ('mqtt', 'sends by MQTT'), ('pull', 'is asked at an address'), ('table', 'tables: upload, folder or mail'), ('photo', 'its display is photographed'), ('manual', 'does not report')], default='https', max_length=6)),
                ('says_faults', models.BooleanField(default=False)),
                ('warm_up_minutes', models.PositiveIntegerField(default=0)),
                ('own_standard', models.BooleanField(default=False)),
                ('own_dosing', models.CharField(choices=[('none', 'doses nothing'), ('set_points', 'doses between two set-points'), ('socket', 'switches a socket')], default='none', max_length=10)),
                ('dose_low', models.FloatField(blank=True, null=True)),
                ('dose_high', models.FloatField(blank=True, null=True)),
                ('after_dose_minutes', models.PositiveIntegerField(default=0)),
                ('upkeep_words', models.CharField(blank=True, max_length=200)),
                ('mqtt_name', models.CharField(blank=True, default='', max_length=60, validators=[servicedesk.instruments.models.plain_name])),
                ('relays', models.BooleanField(default=False)),
                ('relay_name', models.CharField(blank=True, default='', max_length=60, validators=[servicedesk.instruments.models.name_at_relay])),
                ('dosing_channel', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='drivers', to='dosing.channel')),
                ('equipment', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='instrument', to='clients.equipment')),
                ('tank', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='instruments', to='clients.tank')),
                ('through', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='relayed', to='instruments.instrument')),
            ],
            options={
                'constraints': [models.UniqueConstraint(condition=models.Q(('mqtt_name', ''), _negated=True), fields=('mqtt_name',), name='instrument_mqtt_name_once'), models.CheckConstraint(condition=models.Q(('dose_low__isnull', True), ('dose_high__isnull', True), ('dose_low__lt', models.F('dose_high')), _connector='OR'), name='instrument_set_points_in_order'), models.CheckConstraint(condition=models.Q(('relays', False), ('through__isnull', True), _connector='OR'), name='instrument_relays_no_relay'), models.CheckConstraint(condition=models.Q(models.Q(('relay_name', ''), ('through__isnull', True)), models.Q(('through__isnull', False), models.Q(('relay_name', ''), _negated=True)), _connector='OR'), name='instrument_named_at_relay'), models.UniqueConstraint(fields=('through', 'relay_name'), name='instrument_relay_name_once')],
            },
        ),
        migrations.CreateModel(
            name='DisplayPhoto',
            fields=[
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('file', models.CharField(max_length=120)),
                ('width', models.PositiveIntegerField()),
                ('height', models.PositiveIntegerField()),
                ('sha256', models.CharField(max_length=64)),
                ('camera_at', models.DateTimeField(null=True)),
                ('note', models.CharField(blank=True, max_length=200)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='display_photos', to='instruments.instrument')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('instrument', 'sha256'), name='display_photo_once'), models.UniqueConstraint(fields=('origin', 'part'), name='display_photo_origin_once')],
            },
        ),
        migrations.CreateModel(
            name='Delivery',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('sha256', models.CharField(max_length=64)),
                ('media_type', models.CharField(max_length=60)),
                ('body', models.TextField()),
                ('received_at', models.DateTimeField()),
                ('state', models.CharField(choices=[('taken', 'taken'), ('refused', 'refused')], max_length=8)),
                ('stored', models.PositiveIntegerField(default=0)),
                ('held', models.PositiveIntegerField(default=0)),
                ('answer', models.JSONField(default=dict)),
                ('under', models.CharField(blank=True, default='', max_length=100)),
                ('via', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='instruments.delivery')),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='deliveries', to='instruments.instrument')),
            ],
            options={
                'indexes': [models.Index(fields=['instrument', 'received_at'], name='delivery_by_time')],
                'constraints': [models.UniqueConstraint(fields=('instrument', 'sha256'), name='delivery_once')],
            },
        ),
        migrations.CreateModel(
            name='Commissioning',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('begun_at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(null=True)),
                ('note', models.CharField(blank=True, max_length=400)),
                ('begun_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='commissionings', to='instruments.instrument')),
            ],
            options={
                'constraints': [models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True)), fields=('instrument',), name='commissioning_open_once')],
            },
        ),
        migrations.CreateModel(
            name='Measure',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('parameter', models.CharField(max_length=30)),
                ('sent_name', models.CharField(max_length=40)),
                ('unit', models.CharField(max_length=20)),
                ('ml_per_test', models.FloatField(default=0)),
                ('tests_per_day', models.FloatField(default=0)),
                ('minutes_per_test', models.FloatField(default=0)),
                ('made_up', models.BooleanField(default=False)),
                ('bottle_ml', models.FloatField(default=0)),
                ('calibrate_every_days', models.PositiveIntegerField(default=30)),
                ('low_volts', models.FloatField(blank=True, null=True)),
                ('low_value', models.FloatField(blank=True, null=True)),
                ('high_volts', models.FloatField(blank=True, null=True)),
                ('high_value', models.FloatField(blank=True, null=True)),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='measures', to='instruments.instrument')),
                ('method', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='measures', to='water.method')),
                ('reagent', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='measures', to='stock.item')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('instrument', 'parameter'), name='measure_once'), models.UniqueConstraint(fields=('instrument', 'sent_name'), name='measure_name_once'), models.CheckConstraint(condition=models.Q(('ml_per_test__gte', 0), ('tests_per_day__gte', 0)), name='measure_use_sound'), models.CheckConstraint(condition=models.Q(models.Q(('high_value__isnull', True), ('high_volts__isnull', True), ('low_value__isnull', True), ('low_volts__isnull', True)), models.Q(('high_value__isnull', False), ('low_value__isnull', False), ('low_volts__lt', models.F('high_volts'))), _connector='OR'), name='measure_points_whole')],
            },
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
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('channel__isnull', True), ('measure__isnull', False)), models.Q(('channel__isnull', False), ('measure__isnull', True)), _connector='OR'), name='procedure_of_one_thing'), models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True)), fields=('measure',), name='procedure_open_once'), models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True)), fields=('channel',), name='procedure_of_channel_open_once')],
            },
        ),
        migrations.CreateModel(
            name='Calibration',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('reference', models.FloatField()),
                ('reference_u', models.FloatField(null=True)),
                ('before', models.FloatField()),
                ('after', models.FloatField(null=True)),
                ('after_reference', models.FloatField(null=True)),
                ('slope_mv_per_ph', models.FloatField(null=True)),
                ('offset_mv', models.FloatField(null=True)),
                ('factor', models.FloatField(null=True)),
                ('offset', models.FloatField(null=True)),
                ('left_as_is', models.BooleanField(null=True)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.lot')),
                ('measure', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='calibrations', to='instruments.measure')),
                ('procedure', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='calibrations', to='instruments.procedure')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='calibration_once')],
            },
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
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='procedure_step_once')],
            },
        ),
        migrations.CreateModel(
            name='Pull',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('url', models.URLField(max_length=300)),
                ('every_minutes', models.PositiveIntegerField(default=15, validators=[django.core.validators.MinValueValidator(1)])),
                ('shape', models.CharField(choices=[('json', 'JSON, values picked by a mapping'), ('table', 'a table')], default='json', max_length=5)),
                ('mapping', models.TextField(blank=True, max_length=4000)),
                ('header', models.CharField(blank=True, max_length=200)),
                ('asked_at', models.DateTimeField(editable=False, null=True)),
                ('failed', models.CharField(blank=True, editable=False, max_length=300)),
                ('instrument', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='pull', to='instruments.instrument')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('every_minutes__gte', 1)), name='pull_every_minute_or_more'), models.CheckConstraint(condition=models.Q(models.Q(('shape', 'json'), _negated=True), models.Q(('mapping', ''), _negated=True), _connector='OR'), name='pull_json_has_mapping', violation_error_message='A mapping names one value at least: “alk = data.kh dKH”.')],
            },
        ),
        migrations.CreateModel(
            name='ReagentLoad',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('ml', models.FloatField()),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='stock.lot')),
                ('measure', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='loads', to='instruments.measure')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='reagent_load_once'), models.CheckConstraint(condition=models.Q(('ml__gt', 0)), name='reagent_load_above_nought')],
            },
        ),
        migrations.CreateModel(
            name='SentDose',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('sent_name', models.CharField(max_length=40)),
                ('channel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sent_doses', to='dosing.channel')),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='sent_doses', to='instruments.instrument')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('instrument', 'sent_name'), name='sent_dose_name_once')],
            },
        ),
        migrations.CreateModel(
            name='SentSign',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('sent_name', models.CharField(max_length=40)),
                ('kind', models.CharField(choices=[('error', 'reports an error'), ('low_sample', 'draws too little sample'), ('waste_full', 'its waste bottle is full'), ('low_reagent', 'says that its reagent runs out'), ('line_lost', 'lost its line'), ('alive', 'is there'), ('note', 'notes something')], max_length=11)),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='sent_signs', to='instruments.instrument')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('instrument', 'sent_name'), name='sign_name_once')],
            },
        ),
        migrations.CreateModel(
            name='Sign',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('kind', models.CharField(choices=[('error', 'reports an error'), ('low_sample', 'draws too little sample'), ('waste_full', 'its waste bottle is full'), ('low_reagent', 'says that its reagent runs out'), ('line_lost', 'lost its line'), ('alive', 'is there'), ('note', 'notes something')], max_length=11)),
                ('on', models.BooleanField()),
                ('text', models.CharField(blank=True, max_length=100)),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='signs', to='instruments.instrument')),
            ],
            options={
                'indexes': [models.Index(fields=['instrument', 'kind', 'at'], name='sign_by_kind')],
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='sign_once')],
            },
        ),
        migrations.CreateModel(
            name='StageDone',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('stage', models.CharField(choices=[('placed', 'Set up and safe'), ('warm', 'Warm'), ('pass', 'A pass'), ('heard', 'Heard'), ('calibrated', 'Calibrated'), ('agrees', 'Agrees'), ('noise', 'Quiet enough')], max_length=10)),
                ('at', models.DateTimeField()),
                ('words', models.CharField(max_length=300)),
                ('data', models.JSONField(default=dict)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('commissioning', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='done', to='instruments.commissioning')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='stage_done_once')],
            },
        ),
        migrations.CreateModel(
            name='Token',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('label', models.CharField(blank=True, default='', max_length=60)),
                ('start', models.CharField(max_length=12)),
                ('sha256', models.CharField(max_length=64, unique=True)),
                ('made_at', models.DateTimeField()),
                ('expires_at', models.DateTimeField(blank=True, null=True)),
                ('revoked_at', models.DateTimeField(blank=True, null=True)),
                ('last_used_at', models.DateTimeField(blank=True, null=True)),
                ('minute', models.PositiveBigIntegerField(default=0, editable=False)),
                ('in_minute', models.PositiveIntegerField(default=0, editable=False)),
                ('instrument', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tokens', to='instruments.instrument')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('expires_at__isnull', True), ('expires_at__gt', models.F('made_at')), _connector='OR'), name='token_ends_after_start')],
            },
        ),
        migrations.CreateModel(
            name='TrustMove',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('at', models.DateTimeField()),
                ('trust', models.CharField(choices=[('believed', 'believed'), ('to_check', 'to be checked'), ('not_to_act_on', 'not to be acted on')], max_length=13)),
                ('why', models.CharField(max_length=200)),
                ('measure', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='trust_moves', to='instruments.measure')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='trust_move_once')],
            },
        ),
        migrations.CreateModel(
            name='DisplayRead',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('why', models.CharField(blank=True, max_length=200)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('delivery', models.OneToOneField(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='seen', to='instruments.delivery')),
                ('photo', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='outcome', to='instruments.displayphoto')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='display_read_origin_once'), models.CheckConstraint(condition=models.Q(models.Q(('delivery__isnull', False), ('why', '')), models.Q(('delivery__isnull', True), models.Q(('why', ''), _negated=True)), _connector='OR'), name='display_read_or_set_aside')],
            },
        ),
    ]
