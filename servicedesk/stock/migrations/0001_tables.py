"""The tables of this room."""

import django.db.models.deletion
import django.db.models.functions.text
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [('stock', '0001_initial'), ('stock', '0003_vans_have_keepers_receipts_have_prices'), ('stock', '0004_what_a_van_takes'), ('stock', '0005_packs_per_box')]

    initial = True

    dependencies = [
        ('staff', '__first__'),
    ]

    operations = [
        migrations.CreateModel(
            name='Item',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=100)),
                ('kind', models.CharField(choices=[('reagent', 'reagent'), ('standard', 'check standard'), ('solution', 'dosing solution'), ('salt', 'salt'), ('media', 'filter media'), ('part', 'part'), ('other', 'other')], max_length=8)),
                ('unit', models.CharField(choices=[('mL', 'mL'), ('g', 'g'), ('pcs', 'pieces')], default='mL', max_length=3)),
                ('pack_size', models.FloatField(default=1)),
                ('packs_per_box', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('price_per_pack', models.DecimalField(blank=True, decimal_places=2, max_digits=9, null=True)),
                ('lead_days', models.PositiveIntegerField(default=5)),
                ('supplier', models.CharField(blank=True, max_length=80)),
                ('shelf', models.CharField(blank=True, max_length=20)),
                ('hazards', models.JSONField(blank=True, default=list)),
                ('retired_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'constraints': [models.UniqueConstraint(django.db.models.functions.text.Lower('name'), name='item_name_once'), models.CheckConstraint(condition=models.Q(('pack_size__gt', 0)), name='item_pack_above_nought'), models.CheckConstraint(condition=models.Q(('packs_per_box__isnull', True), ('packs_per_box__gt', 0), _connector='OR'), name='item_box_above_nought')],
            },
        ),
        migrations.CreateModel(
            name='Lot',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('code', models.CharField(max_length=40)),
                ('expires_on', models.DateField(blank=True, null=True)),
                ('opened_on', models.DateField(blank=True, null=True)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lots', to='stock.item')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('item', 'code'), name='lot_code_once_per_item')],
            },
        ),
        migrations.CreateModel(
            name='Place',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('name', models.CharField(max_length=60, unique=True)),
                ('kind', models.CharField(choices=[('store', 'store'), ('van', 'van')], max_length=6)),
                ('water_l', models.PositiveIntegerField(blank=True, null=True)),
                ('most_kg', models.PositiveIntegerField(blank=True, null=True)),
                ('boxes', models.PositiveIntegerField(blank=True, null=True)),
                ('lat', models.FloatField(blank=True, null=True)),
                ('lon', models.FloatField(blank=True, null=True)),
                ('keeper', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='keeps', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('lat__isnull', True), ('lon__isnull', True)), models.Q(('lat__isnull', False), ('lat__range', (-90, 90)), ('lon__isnull', False), ('lon__range', (-180, 180))), _connector='OR'), name='place_stands_somewhere')],
            },
        ),
        migrations.CreateModel(
            name='Movement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('origin', models.UUIDField(default=uuid.uuid4, editable=False)),
                ('part', models.PositiveIntegerField(default=0, editable=False)),
                ('received_at', models.DateTimeField()),
                ('amount', models.FloatField()),
                ('reason', models.CharField(choices=[('received', 'received'), ('used', 'used'), ('moved', 'moved'), ('counted', 'difference found by counting')], max_length=8)),
                ('at', models.DateTimeField()),
                ('note', models.CharField(blank=True, max_length=200)),
                ('price_per_pack', models.DecimalField(blank=True, decimal_places=2, max_digits=9, null=True)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('item', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='movements', to='stock.item')),
                ('lot', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='movements', to='stock.lot')),
                ('place', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='movements', to='stock.place')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('origin', 'part'), name='movement_once')],
            },
        ),
    ]
