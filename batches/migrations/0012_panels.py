import django.db.models.deletion
from django.db import migrations, models

from studio.kernel.append_only import AppendOnly


class Migration(migrations.Migration):
    """Blind panels: what they compare, who sits, what was answered."""

    dependencies = [
        ('batches', '0011_bench_records'),
        ('inventory', '0008_open_lots_by_title'),
        ('studio', '0005_invitations'),
    ]

    operations = [
        migrations.CreateModel(
            name='Panel',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('title', models.CharField(max_length=120)),
                ('method', models.CharField(choices=[('triangle', 'Triangle'), ('duo-trio', 'Duo Trio'), ('pair', 'Pair'), ('pair-either-way', 'Pair Either Way')], max_length=16)),
                ('attribute', models.CharField(blank=True, help_text='What a pair is asked for more of.', max_length=60)),
                ('level', models.DecimalField(decimal_places=4, max_digits=5)),
                ('power', models.DecimalField(decimal_places=4, max_digits=5, null=True)),
                ('share', models.DecimalField(decimal_places=4, help_text='The share of tellers it was planned to find with that power.', max_digits=5, null=True)),
                ('planned', models.PositiveSmallIntegerField(help_text='Answers after which it closes by itself.')),
                ('answered', models.PositiveSmallIntegerField(default=0)),
                ('seed', models.CharField(help_text='From which orders and numbers were drawn.', max_length=32)),
                ('note', models.TextField(blank=True)),
                ('at', models.DateTimeField()),
                ('closed_at', models.DateTimeField(null=True)),
                ('ended_why', models.TextField(blank=True)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member')),
                ('ended_by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member')),
                ('material', models.ForeignKey(help_text='What a nose is tried on; none when two lots are compared.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.material')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.CreateModel(
            name='PanelLook',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('answers', models.PositiveSmallIntegerField()),
                ('why', models.TextField()),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member')),
                ('panel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='looks', to='batches.panel')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.CreateModel(
            name='PanelServing',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveSmallIntegerField(help_text='Of the tray, from 1.')),
                ('places', models.CharField(help_text='The lots from the left, such as ABA.', max_length=3)),
                ('codes', models.JSONField(help_text='The blind number at each place; none on a reference.')),
                ('panel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='servings', to='batches.panel')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.CreateModel(
            name='PanelAnswer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('chosen', models.PositiveSmallIntegerField()),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member')),
                ('panel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='answers', to='batches.panel')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
                ('serving', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='answer', to='batches.panelserving')),
            ],
        ),
        migrations.CreateModel(
            name='PanelSitter',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('member', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member')),
                ('panel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sitters', to='batches.panel')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.CreateModel(
            name='PanelStep',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveSmallIntegerField()),
                ('strength', models.DecimalField(decimal_places=9, max_digits=10, null=True)),
                ('lot_a', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.lot')),
                ('lot_b', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.lot')),
                ('panel', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='steps', to='batches.panel')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.AddField(
            model_name='panelserving',
            name='step',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='servings', to='batches.panelstep'),
        ),
        migrations.AddIndex(
            model_name='panel',
            index=models.Index(fields=['studio', '-id'], name='panels_newest_first'),
        ),
        migrations.AddConstraint(
            model_name='panel',
            constraint=models.CheckConstraint(condition=models.Q(('method__in', ['triangle', 'duo-trio', 'pair', 'pair-either-way'])), name='panel_method_known'),
        ),
        migrations.AddConstraint(
            model_name='panel',
            constraint=models.CheckConstraint(condition=models.Q(('level__gt', 0), ('level__lt', 1), models.Q(('power__isnull', True), models.Q(('power__gt', 0), ('power__lt', 1)), _connector='OR'), models.Q(('share__isnull', True), models.Q(('share__gt', 0), ('share__lte', 1)), _connector='OR')), name='panel_chances_are_fractions'),
        ),
        migrations.AddConstraint(
            model_name='panel',
            constraint=models.CheckConstraint(condition=models.Q(('answered__lte', models.F('planned')), ('planned__gte', 1)), name='panel_answered_as_planned'),
        ),
        migrations.AddConstraint(
            model_name='panel',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('answered__lt', models.F('planned')), ('closed_at__isnull', True), ('ended_by__isnull', True)), models.Q(('answered', models.F('planned')), ('closed_at__isnull', False), ('ended_by__isnull', True)), models.Q(('answered__lt', models.F('planned')), ('closed_at__isnull', False), ('ended_by__isnull', False), models.Q(('ended_why', ''), _negated=True)), _connector='OR'), name='panel_closed_when_answered_or_ended'),
        ),
        migrations.AddConstraint(
            model_name='panel',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('method__in', ('pair', 'pair-either-way')), models.Q(('attribute', ''), _negated=True)), models.Q(models.Q(('method__in', ('pair', 'pair-either-way')), _negated=True), ('attribute', '')), _connector='OR'), name='panel_pair_asks_for_more_of_something'),
        ),
        migrations.AddIndex(
            model_name='panellook',
            index=models.Index(fields=['panel', 'id'], name='looks_at_panel'),
        ),
        migrations.AddConstraint(
            model_name='panellook',
            constraint=models.CheckConstraint(condition=models.Q(('answers__gte', 1), models.Q(('why', ''), _negated=True)), name='panel_look_says_why'),
        ),
        migrations.AddIndex(
            model_name='panelanswer',
            index=models.Index(fields=['panel', 'id'], name='answers_of_panel'),
        ),
        migrations.AddConstraint(
            model_name='panelanswer',
            constraint=models.CheckConstraint(condition=models.Q(('chosen__lte', 2)), name='panel_answer_names_a_place'),
        ),
        migrations.AddConstraint(
            model_name='panelsitter',
            constraint=models.UniqueConstraint(fields=('panel', 'member'), name='panel_sitter_once'),
        ),
        migrations.AddConstraint(
            model_name='panelstep',
            constraint=models.UniqueConstraint(fields=('panel', 'position'), name='panel_step_position_once'),
        ),
        migrations.AddConstraint(
            model_name='panelstep',
            constraint=models.CheckConstraint(condition=models.Q(('lot_a', models.F('lot_b')), _negated=True), name='panel_step_compares_two'),
        ),
        migrations.AddConstraint(
            model_name='panelserving',
            constraint=models.UniqueConstraint(fields=('panel', 'number'), name='panel_serving_number_once'),
        ),
        AppendOnly(
            table='batches_panelstep',
            columns=['id', 'studio_id', 'panel_id', 'position', 'lot_a_id', 'lot_b_id', 'strength'],
        ),
        AppendOnly(table='batches_panelsitter', columns=['id', 'studio_id', 'panel_id', 'member_id']),
        AppendOnly(
            table='batches_panelserving',
            columns=['id', 'studio_id', 'panel_id', 'step_id', 'number', 'places', 'codes'],
        ),
        AppendOnly(
            table='batches_panelanswer',
            columns=['id', 'studio_id', 'panel_id', 'serving_id', 'chosen', 'by_id', 'at'],
        ),
        AppendOnly(
            table='batches_panellook',
            columns=['id', 'studio_id', 'panel_id', 'answers', 'why', 'by_id', 'at'],
        ),
    ]
