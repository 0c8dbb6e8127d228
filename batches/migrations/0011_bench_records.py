import django.db.models.deletion
from django.db import migrations, models

from studio.kernel.append_only import AppendOnly


class Migration(migrations.Migration):
    """How the lot of a weighing was told, and what was refused at the bench."""

    dependencies = [
        ('batches', '0010_document'),
        ('inventory', '0002_append_only'),
        ('studio', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='RefusedReading',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveSmallIntegerField(help_text='Of the line that was to be weighed.')),
                ('kind', models.CharField(choices=[('wrong lot', 'Wrong Lot'), ('lot on hold', 'Lot On Hold'), ('lot expired', 'Lot Expired'), ('unclear weight', 'Unclear'), ('unfit reading', 'Unfit'), ('outside the band', 'Outside'), ('line moved on', 'Moved On')], max_length=20)),
                ('told', models.CharField(help_text='The lot or the weight as it was scanned, typed or read.', max_length=200)),
                ('why', models.CharField(help_text='The sentence that refused it.', max_length=500)),
                ('at', models.DateTimeField()),
                ('recorded_at', models.DateTimeField()),
                ('operation', models.CharField(help_text="Client's name for this one refusal.", max_length=120)),
            ],
        ),
        migrations.AddField(
            model_name='weighing',
            name='lot_told',
            field=models.CharField(choices=[('scanned', 'Scanned'), ('typed', 'Typed')], help_text='How the lot in hand was told.', max_length=10, null=True),
        ),
        migrations.AddConstraint(
            model_name='weighing',
            constraint=models.CheckConstraint(condition=models.Q(('lot_told__isnull', True), ('lot_told__in', ['scanned', 'typed']), _connector='OR'), name='weighing_lot_told_known'),
        ),
        migrations.AddField(
            model_name='refusedreading',
            name='batch',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='refused_readings', to='batches.batch'),
        ),
        migrations.AddField(
            model_name='refusedreading',
            name='by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member'),
        ),
        migrations.AddField(
            model_name='refusedreading',
            name='studio',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio'),
        ),
        migrations.AddIndex(
            model_name='refusedreading',
            index=models.Index(fields=['batch', 'id'], name='refused_of_batch'),
        ),
        migrations.AddConstraint(
            model_name='refusedreading',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['wrong lot', 'lot on hold', 'lot expired', 'unclear weight', 'unfit reading', 'outside the band', 'line moved on'])), name='refused_reading_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='refusedreading',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('told', ''), _negated=True), models.Q(('why', ''), _negated=True)), name='refused_reading_says_what'),
        ),
        migrations.AddConstraint(
            model_name='refusedreading',
            constraint=models.UniqueConstraint(fields=('studio', 'operation'), name='refused_reading_operation_once'),
        ),
        AppendOnly(
            table='batches_weighing',
            columns=['id', 'studio_id', 'batch_id', 'line_id', 'lot_id', 'mass', 'mass_u', 'lot_revision',
                     'lot_concentration', 'balance_id', 'balance_check_id', 'source', 'reading', 'lot_told', 'at',
                     'recorded_at', 'by_id', 'operation', 'expired_reason', 'struck_at', 'struck_by_id', 'strike_reason'],
            once=['struck_at', 'struck_by_id', 'strike_reason'],
        ),
        AppendOnly(
            table='batches_refusedreading',
            columns=['id', 'studio_id', 'batch_id', 'position', 'kind', 'told', 'why', 'at', 'recorded_at', 'by_id',
                     'operation'],
        ),
    ]
