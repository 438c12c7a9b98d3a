
import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0002_tag_pressure_fittings'),
    ]

    operations = [
        migrations.CreateModel(
            name='DemandCursor',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('sequence', models.BigIntegerField(default=0)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('id', 1)), name='there_is_one_demand_cursor')],
            },
        ),
        migrations.CreateModel(
            name='RestockRun',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('uuid', models.UUIDField(unique=True)),
                ('kind', models.CharField(choices=[('nightly', 'nightly'), ('on_demand', 'on demand')], max_length=10)),
                ('as_of', models.DateField()),
                ('horizon_days', models.PositiveSmallIntegerField()),
                ('asked_at', models.DateTimeField()),
                ('finished_at', models.DateTimeField(null=True)),
                ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.actor')),
                ('place', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.place')),
            ],
        ),
        migrations.CreateModel(
            name='RestockChunk',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('first_material', models.BigIntegerField()),
                ('last_material', models.BigIntegerField()),
                ('taken_until', models.DateTimeField(null=True)),
                ('attempts', models.PositiveSmallIntegerField(default=0)),
                ('failure', models.CharField(blank=True, max_length=500)),
                ('results', models.PositiveIntegerField(null=True)),
                ('done_at', models.DateTimeField(null=True)),
                ('place', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.place')),
                ('run', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='chunks', to='inventory.restockrun')),
            ],
        ),
        migrations.CreateModel(
            name='PolicyResult',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('demand_class', models.CharField(blank=True, max_length=12)),
                ('method', models.CharField(blank=True, max_length=8)),
                ('rate_per_week', models.FloatField()),
                ('sd_per_week', models.FloatField()),
                ('lead_time_days', models.FloatField(null=True)),
                ('reorder_point', models.BigIntegerField(null=True)),
                ('order_quantity', models.BigIntegerField(null=True)),
                ('cycle_service', models.FloatField(null=True)),
                ('fill_rate', models.FloatField(null=True)),
                ('on_hand', models.BigIntegerField()),
                ('expected', models.BigIntegerField(default=0)),
                ('run_out_date', models.DateField(null=True)),
                ('is_likely', models.BooleanField(default=False)),
                ('order_by_date', models.DateField(null=True)),
                ('quantity', models.BigIntegerField(default=0)),
                ('cost', models.BigIntegerField(null=True)),
                ('chance_short', models.FloatField(default=0.0)),
                ('needs_at_risk', models.PositiveIntegerField(default=0)),
                ('why', models.CharField(blank=True, max_length=600)),
                ('material', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.material')),
                ('owner', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.party')),
                ('place', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.place')),
                ('supplier', models.ForeignKey(db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.party')),
                ('run', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='results', to='inventory.restockrun')),
            ],
        ),
        migrations.CreateModel(
            name='StockPolicy',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('key', models.CharField(max_length=44, unique=True)),
                ('target', models.CharField(blank=True, choices=[('cycle_service', 'chance of not running short before an order comes'), ('fill_rate', 'share of what is wanted that is there'), ('cost', 'least cost')], max_length=16)),
                ('target_share', models.FloatField(null=True)),
                ('shortage_cost_per_day', models.BigIntegerField(null=True)),
                ('holding_cost_rate', models.FloatField(null=True)),
                ('review_days', models.PositiveSmallIntegerField(null=True)),
                ('forecast_method', models.CharField(blank=True, choices=[('auto', 'what does best in looking back'), ('croston', 'Croston'), ('sba', 'Syntetos and Boylan'), ('tsb', 'Teunter, Syntetos and Babai'), ('none', 'planned work only')], max_length=8)),
                ('return_lag_days', models.FloatField(null=True)),
                ('return_lag_sd_days', models.FloatField(null=True)),
                ('storage_limit', models.BigIntegerField(null=True)),
                ('minimum_level', models.BigIntegerField(null=True)),
                ('maximum_level', models.BigIntegerField(null=True)),
                ('set_at', models.DateTimeField()),
                ('material', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stock_policies', to='inventory.material')),
                ('place', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='stock_policies', to='inventory.place')),
                ('set_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.actor')),
            ],
            options={
                'verbose_name_plural': 'stock policies',
            },
        ),
        migrations.CreateModel(
            name='DemandWeek',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('week_date', models.DateField()),
                ('used', models.BigIntegerField()),
                ('material', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.material')),
                ('owner', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.party')),
                ('place', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.place')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('place', 'material', 'owner', 'week_date'), name='a_week_has_one_sum_of_demand')],
            },
        ),
        migrations.AddConstraint(
            model_name='restockrun',
            constraint=models.UniqueConstraint(condition=models.Q(('kind', 'nightly')), fields=('as_of',), name='a_night_has_one_restock_run'),
        ),
        migrations.AddIndex(
            model_name='restockchunk',
            index=models.Index(condition=models.Q(('done_at__isnull', True)), fields=['run', 'id'], name='chunks_waiting_to_be_done'),
        ),
        migrations.AddConstraint(
            model_name='restockchunk',
            constraint=models.UniqueConstraint(fields=('run', 'place', 'first_material'), name='chunks_of_a_run_do_not_overlap'),
        ),
        migrations.AddConstraint(
            model_name='restockchunk',
            constraint=models.CheckConstraint(condition=models.Q(('last_material__gte', models.F('first_material'))), name='chunk_is_a_range'),
        ),
        migrations.AddIndex(
            model_name='policyresult',
            index=models.Index(condition=models.Q(('run_out_date__isnull', False)), fields=['run', 'run_out_date', 'id'], name='results_that_are_to_be_ordered'),
        ),
        migrations.AddConstraint(
            model_name='policyresult',
            constraint=models.UniqueConstraint(fields=('run', 'place', 'material', 'owner'), name='a_run_has_one_result_for_a_material'),
        ),
        migrations.AddConstraint(
            model_name='stockpolicy',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('target__in', ['', 'cost']), ('target_share__isnull', True)), models.Q(('target__in', ['cycle_service', 'fill_rate']), ('target_share__gt', 0), ('target_share__lt', 1)), _connector='OR'), name='a_service_target_is_a_share_between_0_and_1'),
        ),
        migrations.AddConstraint(
            model_name='stockpolicy',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('target', 'cost'), _negated=True), ('shortage_cost_per_day__gt', 0), _connector='OR'), name='least_cost_needs_the_cost_of_lacking'),
        ),
        migrations.AddConstraint(
            model_name='stockpolicy',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('shortage_cost_per_day__isnull', True), ('shortage_cost_per_day__gt', 0), _connector='OR'), models.Q(('holding_cost_rate__isnull', True), ('holding_cost_rate__gt', 0), _connector='OR')), name='costs_of_a_policy_are_above_nothing'),
        ),
        migrations.AddConstraint(
            model_name='stockpolicy',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('return_lag_days__isnull', True), ('return_lag_days__gte', 0), _connector='OR'), models.Q(('return_lag_sd_days__isnull', True), ('return_lag_sd_days__gte', 0), _connector='OR')), name='return_lag_is_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='stockpolicy',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('minimum_level__isnull', True), ('maximum_level__isnull', True)), models.Q(('maximum_level__gt', models.F('minimum_level')), ('minimum_level__gte', 0)), _connector='OR'), name='levels_by_hand_are_two_and_in_order'),
        ),
        migrations.AddConstraint(
            model_name='stockpolicy',
            constraint=models.CheckConstraint(condition=models.Q(('storage_limit__isnull', True), ('storage_limit__gt', 0), _connector='OR'), name='storage_limit_is_above_nothing'),
        ),
    ]
