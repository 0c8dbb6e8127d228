import django.db.models.deletion
import studio.kernel.mass_field
from django.db import migrations, models


class Migration(migrations.Migration):
    """Batches that make many vials: cells, and lines that go into one of them."""

    dependencies = [
        ('batches', '0012_panels'),
        ('inventory', '0008_open_lots_by_title'),
        ('studio', '0006_one_time_codes'),
    ]

    operations = [
        migrations.CreateModel(
            name='GridCell',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveSmallIntegerField(help_text='Place in the grid, from 1.')),
                ('attempt', models.PositiveSmallIntegerField(default=1)),
                ('part_a', models.DecimalField(decimal_places=6, max_digits=13, null=True)),
                ('part_b', models.DecimalField(decimal_places=6, max_digits=13, null=True)),
                ('mass', studio.kernel.mass_field.MassField(help_text='Wanted in the vial.')),
                ('left_out_at', models.DateTimeField(null=True)),
                ('left_out_why', models.TextField(blank=True)),
            ],
        ),
        migrations.RemoveConstraint(
            model_name='batch',
            name='batch_kind_known',
        ),
        migrations.RemoveConstraint(
            model_name='batch',
            name='batch_says_what_it_makes',
        ),
        migrations.RemoveConstraint(
            model_name='batch',
            name='batch_closed_has_made_a_lot',
        ),
        migrations.AddField(
            model_name='batchline',
            name='left_out',
            field=models.BooleanField(default=False, help_text='Its vial was left out; nothing more is poured of it.'),
        ),
        migrations.AlterField(
            model_name='batch',
            name='kind',
            field=models.CharField(choices=[('stock', 'Stock'), ('base', 'Base'), ('blend', 'Blend'), ('grid', 'Grid')], max_length=10),
        ),
        migrations.AlterField(
            model_name='batchline',
            name='material',
            field=models.ForeignKey(help_text='None where a grid pours what is not of one material.', null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.material'),
        ),
        migrations.AddConstraint(
            model_name='batch',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['stock', 'base', 'blend', 'grid'])), name='batch_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='batch',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'stock'), ('material__isnull', False), ('strength__isnull', False)), models.Q(('kind', 'grid'), ('material__isnull', True), ('version__isnull', True)), models.Q(('kind__in', ['base', 'blend']), ('version__isnull', False)), _connector='OR'), name='batch_says_what_it_makes'),
        ),
        migrations.AddConstraint(
            model_name='batch',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'grid'), ('made__isnull', True)), models.Q(models.Q(('kind', 'grid'), _negated=True), ('made__isnull', False), ('state', 'closed')), models.Q(models.Q(('kind', 'grid'), _negated=True), models.Q(('state', 'closed'), _negated=True), ('made__isnull', True)), _connector='OR'), name='batch_closed_has_made_a_lot'),
        ),
        migrations.AddField(
            model_name='gridcell',
            name='batch',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='cells', to='batches.batch'),
        ),
        migrations.AddField(
            model_name='gridcell',
            name='left_out_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member'),
        ),
        migrations.AddField(
            model_name='gridcell',
            name='lot_a',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.lot'),
        ),
        migrations.AddField(
            model_name='gridcell',
            name='lot_b',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.lot'),
        ),
        migrations.AddField(
            model_name='gridcell',
            name='made',
            field=models.OneToOneField(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.lot'),
        ),
        migrations.AddField(
            model_name='gridcell',
            name='studio',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio'),
        ),
        migrations.AddField(
            model_name='batchline',
            name='cell',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='batches.gridcell'),
        ),
        migrations.AddConstraint(
            model_name='gridcell',
            constraint=models.UniqueConstraint(fields=('batch', 'number', 'attempt'), name='grid_attempt_once'),
        ),
        migrations.AddConstraint(
            model_name='gridcell',
            constraint=models.UniqueConstraint(condition=models.Q(('left_out_at__isnull', True)), fields=('batch', 'number'), name='grid_cell_stands_once'),
        ),
        migrations.AddConstraint(
            model_name='gridcell',
            constraint=models.CheckConstraint(condition=models.Q(('mass__gt', 0)), name='grid_cell_mass_positive'),
        ),
        migrations.AddConstraint(
            model_name='gridcell',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('lot_a__isnull', False), ('lot_b__isnull', False), ('part_a__gt', 0), ('part_b__gt', 0)), models.Q(('lot_a__isnull', False), ('lot_b__isnull', True), ('part_a__isnull', True), ('part_b__isnull', True)), models.Q(('lot_a__isnull', True), ('lot_b__isnull', False), ('part_a__isnull', True), ('part_b__isnull', True)), _connector='OR'), name='grid_cell_crosses_or_controls'),
        ),
        migrations.AddConstraint(
            model_name='gridcell',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('left_out_at__isnull', True), ('left_out_by__isnull', True), ('left_out_why', '')), models.Q(('left_out_at__isnull', False), ('left_out_by__isnull', False), ('made__isnull', True), models.Q(('left_out_why', ''), _negated=True)), _connector='OR'), name='grid_cell_left_out_with_reason'),
        ),
    ]
