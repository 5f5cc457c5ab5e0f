"""The tables of this room."""

import django.core.validators
import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('rounds', '0001_initial'), ('rounds', '0002_moves_and_notes'), ('rounds', '0004_move_off'), ('rounds', '0005_pins'), ('rounds', '0006_proposals'), ('rounds', '0007_moved_by_hand'), ('rounds', '0008_troubles_of_a_day'), ('rounds', '0009_ways_between_places'), ('rounds', '0010_tidings'), ('rounds', '0011_who_is_sick_is_away'), ('rounds', '0012_isolation_overridden'), ('rounds', '0013_master_rounds')]

    initial = True

    dependencies = [
        ('clients', '0001_tables'),
        ('staff', '__first__'),
        ('stock', '0001_tables'),
        ('watch', '0001_tables'),
    ]

    operations = [
        migrations.CreateModel(
            name='DueVisit',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('key', models.CharField(max_length=120, unique=True)),
                ('cause', models.CharField(choices=[('plan', 'service plan'), ('task', 'task'), ('call_out', 'call-out')], max_length=8)),
                ('why', models.CharField(blank=True, max_length=200)),
                ('earliest', models.DateField()),
                ('due', models.DateField()),
                ('latest', models.DateField()),
                ('minutes', models.PositiveIntegerField(default=45)),
                ('isolated', models.BooleanField(default=False)),
                ('disinfects', models.BooleanField(default=False)),
                ('called_off_at', models.DateTimeField(blank=True, null=True)),
                ('made_at', models.DateTimeField()),
                ('plan', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='due_visits', to='clients.serviceplan')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='due_visits', to='clients.site')),
                ('tanks', models.ManyToManyField(related_name='due_visits', to='clients.tank')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('due__lte', models.F('latest')), ('earliest__lte', models.F('due'))), name='due_visit_window_in_order')],
            },
        ),
        migrations.CreateModel(
            name='Router',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=400, unique=True)),
                ('taught', models.PositiveIntegerField(default=0)),
                ('answered_at', models.DateTimeField(blank=True, null=True)),
                ('failed_at', models.DateTimeField(blank=True, null=True)),
                ('error', models.CharField(blank=True, max_length=300)),
            ],
        ),
        migrations.CreateModel(
            name='MasterRound',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('first', models.DateField()),
                ('weeks', models.PositiveSmallIntegerField(default=4)),
                ('state', models.CharField(choices=[('asked', 'asked for'), ('ready', 'ready'), ('failed', 'could not be made'), ('stopped', 'stopped'), ('in_force', 'put in force'), ('dropped', 'dropped')], default='asked', max_length=8)),
                ('asked_at', models.DateTimeField()),
                ('seconds', models.PositiveSmallIntegerField(default=60)),
                ('seed', models.PositiveIntegerField(default=1)),
                ('reluctance', models.FloatField(default=1)),
                ('stop_asked_at', models.DateTimeField(blank=True, null=True)),
                ('before', models.JSONField(default=dict)),
                ('after', models.JSONField(default=dict)),
                ('said', models.JSONField(default=list)),
                ('error', models.CharField(blank=True, max_length=300)),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('ended_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('weeks__gte', 1), ('weeks__lte', 12)), name='master_round_of_weeks'), models.CheckConstraint(condition=models.Q(('reluctance__gte', 0)), name='master_round_changes_cost')],
            },
        ),
        migrations.CreateModel(
            name='MasterLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('stamp', models.CharField(max_length=64)),
                ('changes', models.BooleanField(default=False)),
                ('weekday', models.PositiveSmallIntegerField(default=0)),
                ('second_weekday', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('starts_on', models.DateField()),
                ('was', models.JSONField(default=dict)),
                ('saved_s', models.IntegerField(blank=True, null=True)),
                ('saved_m', models.IntegerField(blank=True, null=True)),
                ('why', models.CharField(blank=True, max_length=300)),
                ('state', models.CharField(choices=[('open', 'open'), ('adopted', 'adopted'), ('kept', 'kept as it is'), ('back', 'taken back')], default='open', max_length=8)),
                ('decided_at', models.DateTimeField(blank=True, null=True)),
                ('change', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='clients.planchange')),
                ('decided_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('plan', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='clients.serviceplan')),
                ('technician', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('master', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='lines', to='rounds.masterround')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('master', 'plan'), name='master_line_once'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'adopted'), _negated=True), ('change__isnull', False), _connector='OR'), name='master_line_adopted_by_a_change')],
            },
        ),
        migrations.CreateModel(
            name='Move',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('day', models.DateField()),
                ('order', models.PositiveIntegerField()),
                ('planned_at', models.TimeField()),
                ('minutes', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('drive_minutes', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('from_day', models.DateField(blank=True, null=True)),
                ('off', models.BooleanField(default=False)),
                ('asked_at', models.DateTimeField()),
                ('applied_at', models.DateTimeField(blank=True, null=True)),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
                ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('due_visit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='moves', to='rounds.duevisit')),
                ('from_technician', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('technician', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='Notice',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('needed', models.BooleanField(default=False)),
                ('accepted_at', models.DateTimeField(blank=True, null=True)),
                ('move', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='notices', to='rounds.move')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='notices', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('move', 'person'), name='notice_once_a_person')],
            },
        ),
        migrations.CreateModel(
            name='Proposal',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(choices=[('week', 'a week'), ('smallest', 'The smallest change'), ('priced', 'Better, with few changes'), ('free', 'The best there is')], default='week', max_length=8)),
                ('first', models.DateField()),
                ('last', models.DateField()),
                ('state', models.CharField(choices=[('asked', 'asked for'), ('ready', 'ready'), ('failed', 'could not be made'), ('stopped', 'stopped'), ('in_force', 'put in force'), ('dropped', 'dropped')], default='asked', max_length=8)),
                ('asked_at', models.DateTimeField()),
                ('seconds', models.PositiveSmallIntegerField(default=20)),
                ('seed', models.PositiveIntegerField(default=1)),
                ('stop_asked_at', models.DateTimeField(blank=True, null=True)),
                ('stamp', models.CharField(blank=True, max_length=64)),
                ('before', models.JSONField(default=dict)),
                ('after', models.JSONField(default=dict)),
                ('said', models.JSONField(default=list)),
                ('error', models.CharField(blank=True, max_length=300)),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('ended_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.AddField(
            model_name='move',
            name='proposal',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='moves', to='rounds.proposal'),
        ),
        migrations.CreateModel(
            name='Proposed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('day', models.DateField(blank=True, null=True)),
                ('order', models.PositiveSmallIntegerField(default=0)),
                ('planned_at', models.TimeField(blank=True, null=True)),
                ('minutes', models.PositiveSmallIntegerField(default=0)),
                ('drive_minutes', models.PositiveSmallIntegerField(default=0)),
                ('wait_minutes', models.PositiveSmallIntegerField(default=0)),
                ('slack_minutes', models.PositiveSmallIntegerField(default=0)),
                ('why', models.CharField(blank=True, max_length=300)),
                ('ways', models.JSONField(default=list)),
                ('due_visit', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='rounds.duevisit')),
                ('moved_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('proposal', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='visits', to='rounds.proposal')),
                ('technician', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('proposal', 'due_visit'), name='proposed_once'), models.CheckConstraint(condition=models.Q(models.Q(('day__isnull', True), ('planned_at__isnull', True), ('technician__isnull', True)), models.Q(('day__isnull', False), ('planned_at__isnull', False), ('technician__isnull', False)), _connector='OR'), name='proposed_whole')],
            },
        ),
        migrations.CreateModel(
            name='Roads',
            fields=[
                ('only', models.BooleanField(default=True, editable=False, primary_key=True, serialize=False)),
                ('near_km', models.FloatField(default=3, validators=[django.core.validators.MinValueValidator(0.1), django.core.validators.MaxValueValidator(1000)])),
                ('near_factor', models.FloatField(default=1.5, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(5)])),
                ('near_kmh', models.FloatField(default=25, validators=[django.core.validators.MinValueValidator(5), django.core.validators.MaxValueValidator(150)])),
                ('middle_km', models.FloatField(default=15, validators=[django.core.validators.MinValueValidator(0.2), django.core.validators.MaxValueValidator(1000)])),
                ('middle_factor', models.FloatField(default=1.35, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(5)])),
                ('middle_kmh', models.FloatField(default=38, validators=[django.core.validators.MinValueValidator(5), django.core.validators.MaxValueValidator(150)])),
                ('far_factor', models.FloatField(default=1.25, validators=[django.core.validators.MinValueValidator(1), django.core.validators.MaxValueValidator(5)])),
                ('far_kmh', models.FloatField(default=55, validators=[django.core.validators.MinValueValidator(5), django.core.validators.MaxValueValidator(150)])),
                ('leg_minutes', models.FloatField(default=2, validators=[django.core.validators.MinValueValidator(0), django.core.validators.MaxValueValidator(60)])),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('only', True)), name='one_row_of_roads'), models.CheckConstraint(condition=models.Q(('near_km__gt', 0), ('near_km__lt', models.F('middle_km'))), name='roads_bands_rise'), models.CheckConstraint(condition=models.Q(('far_factor__gte', 1), ('middle_factor__gte', 1), ('near_factor__gte', 1)), name='roads_no_shorter_than_straight'), models.CheckConstraint(condition=models.Q(('far_kmh__gt', 0), ('leg_minutes__gte', 0), ('middle_kmh__gt', 0), ('near_kmh__gt', 0)), name='roads_are_driven')],
            },
        ),
        migrations.CreateModel(
            name='Round',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('day', models.DateField()),
                ('starts', models.TimeField(default='08:00')),
                ('ends', models.TimeField(default='17:00')),
                ('technician', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='rounds', to=settings.AUTH_USER_MODEL)),
                ('van', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='rounds', to='stock.place')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('day', 'technician'), name='round_once_a_day')],
            },
        ),
        migrations.CreateModel(
            name='SiteNote',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('text', models.CharField(max_length=500)),
                ('for_office', models.BooleanField(default=False)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='notes', to='clients.site')),
            ],
            options={
                'indexes': [models.Index(fields=['site', 'at'], name='site_note_by_time')],
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='site_note_once')],
            },
        ),
        migrations.CreateModel(
            name='Stop',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('order', models.PositiveIntegerField()),
                ('planned_at', models.TimeField()),
                ('minutes', models.PositiveIntegerField(default=45)),
                ('drive_minutes', models.PositiveIntegerField(default=10)),
                ('state', models.CharField(choices=[('planned', 'planned'), ('under_way', 'under way'), ('closed', 'closed'), ('called_off', 'called off')], default='planned', max_length=10)),
                ('arrived_at', models.DateTimeField(blank=True, null=True)),
                ('left_at', models.DateTimeField(blank=True, null=True)),
                ('due_visit', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='stop', to='rounds.duevisit')),
                ('round', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='stops', to='rounds.round')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('left_at__isnull', True), ('arrived_at__isnull', False), _connector='OR'), name='stop_left_after_arrival')],
            },
        ),
        migrations.CreateModel(
            name='Tidings',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('was_day', models.DateField(blank=True, null=True)),
                ('was_at', models.TimeField(blank=True, null=True)),
                ('day', models.DateField(blank=True, null=True)),
                ('at', models.TimeField(blank=True, null=True)),
                ('made_at', models.DateTimeField()),
                ('called_at', models.DateTimeField(blank=True, null=True)),
                ('called_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('due_visit', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tidings', to='rounds.duevisit')),
                ('proposal', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='tidings', to='rounds.proposal')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('proposal', 'due_visit'), name='tidings_once'), models.CheckConstraint(condition=models.Q(models.Q(('was_at__isnull', True), ('was_day__isnull', True)), models.Q(('was_at__isnull', False), ('was_day__isnull', False)), _connector='OR'), name='tidings_was_whole'), models.CheckConstraint(condition=models.Q(models.Q(('at__isnull', True), ('day__isnull', True)), models.Q(('at__isnull', False), ('day__isnull', False)), _connector='OR'), name='tidings_now_whole'), models.CheckConstraint(condition=models.Q(models.Q(('called_at__isnull', True), ('called_by__isnull', True)), models.Q(('called_at__isnull', False), ('called_by__isnull', False)), _connector='OR'), name='tidings_called_whole')],
            },
        ),
        migrations.CreateModel(
            name='Trouble',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('day', models.DateField()),
                ('kind', models.CharField(choices=[('cancelled', 'a visit is cancelled'), ('sick', 'a technician is sick'), ('call_out', 'a call-out'), ('late', 'a technician runs late')], max_length=10)),
                ('minutes', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('until', models.TimeField(blank=True, null=True)),
                ('override_said', models.TextField(blank=True)),
                ('state', models.CharField(choices=[('open', 'open'), ('settled', 'settled'), ('dropped', 'dropped')], default='open', max_length=8)),
                ('asked_at', models.DateTimeField()),
                ('searched_at', models.DateTimeField(blank=True, null=True)),
                ('error', models.CharField(blank=True, max_length=300)),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('away', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='watch.away')),
                ('due_visit', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='troubles', to='rounds.duevisit')),
                ('ended_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('person', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('due_visit__isnull', True), ('kind__in', ('sick', 'late')), ('person__isnull', False)), models.Q(('due_visit__isnull', False), ('kind__in', ('cancelled', 'call_out')), ('person__isnull', True)), _connector='OR'), name='trouble_names_whom_or_what'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'late'), _negated=True), models.Q(('minutes__gte', 1), ('minutes__isnull', False)), _connector='OR'), name='trouble_late_by_minutes')],
            },
        ),
        migrations.AddField(
            model_name='proposal',
            name='trouble',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='offers', to='rounds.trouble'),
        ),
        migrations.CreateModel(
            name='Way',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('start', models.BigIntegerField()),
                ('end', models.BigIntegerField()),
                ('seconds', models.PositiveIntegerField(blank=True, null=True)),
                ('metres', models.PositiveIntegerField(blank=True, null=True)),
                ('asked_at', models.DateTimeField()),
                ('router', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='ways', to='rounds.router')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('router', 'start', 'end'), name='way_once'), models.CheckConstraint(condition=models.Q(models.Q(('metres__isnull', True), ('seconds__isnull', True)), models.Q(('metres__isnull', False), ('seconds__isnull', False)), _connector='OR'), name='way_of_one_source')],
            },
        ),
        migrations.CreateModel(
            name='Pin',
            fields=[
                ('due_visit', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='pin', serialize=False, to='rounds.duevisit')),
                ('day', models.DateField(blank=True, null=True)),
                ('at', models.TimeField(blank=True, null=True)),
                ('made_at', models.DateTimeField()),
                ('made_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('technician', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('technician__isnull', False), ('day__isnull', False), _connector='OR'), name='pin_says_something'), models.CheckConstraint(condition=models.Q(('at__isnull', True), ('day__isnull', False), _connector='OR'), name='pin_time_has_a_day')],
            },
        ),
        migrations.AddConstraint(
            model_name='move',
            constraint=models.CheckConstraint(condition=models.Q(('applied_at__isnull', True), ('withdrawn_at__isnull', True), _connector='OR'), name='move_applied_or_withdrawn'),
        ),
        migrations.AddConstraint(
            model_name='move',
            constraint=models.UniqueConstraint(condition=models.Q(('applied_at__isnull', True), ('withdrawn_at__isnull', True)), fields=('due_visit',), name='move_waits_once_a_visit'),
        ),
        migrations.AddConstraint(
            model_name='proposal',
            constraint=models.CheckConstraint(condition=models.Q(('first__lte', models.F('last'))), name='proposal_days_in_order'),
        ),
        migrations.AddConstraint(
            model_name='proposal',
            constraint=models.CheckConstraint(condition=models.Q(('seconds__gte', 1), ('seconds__lte', 300)), name='proposal_searches_a_while'),
        ),
        migrations.AddConstraint(
            model_name='proposal',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'week'), ('trouble__isnull', True)), models.Q(models.Q(('kind', 'week'), _negated=True), ('trouble__isnull', False)), _connector='OR'), name='proposal_of_a_week_or_a_trouble'),
        ),
        migrations.AddConstraint(
            model_name='proposal',
            constraint=models.UniqueConstraint(fields=('trouble', 'kind'), name='proposal_once_a_kind'),
        ),
    ]
