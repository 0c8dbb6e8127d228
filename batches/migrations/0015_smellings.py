import django.db.models.deletion
from django.db import migrations, models

from studio.kernel.append_only import AppendOnly


class Migration(migrations.Migration):
    """Smelling: strips, notes and their words, vials under blind codes."""

    dependencies = [
        ('batches', '0014_serving_sheets'),
        ('inventory', '0008_open_lots_by_title'),
        ('studio', '0006_one_time_codes'),
    ]

    operations = [
        migrations.CreateModel(
            name='BlindSet',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('title', models.CharField(max_length=120)),
                ('at', models.DateTimeField()),
                ('revealed_at', models.DateTimeField(null=True)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.CreateModel(
            name='BlindVial',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.PositiveSmallIntegerField()),
                ('blind_set', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='vials', to='batches.blindset')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.lot')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.CreateModel(
            name='Smelling',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField(help_text='When it was smelled.')),
                ('recorded_at', models.DateTimeField()),
                ('minutes', models.DecimalField(decimal_places=1, help_text='Since dipping.', max_digits=7, null=True)),
                ('scale', models.CharField(blank=True, choices=[('plain', 'Plain'), ('magnitude', 'Magnitude')], max_length=10)),
                ('intensity', models.DecimalField(decimal_places=2, max_digits=4, null=True)),
                ('liking', models.PositiveSmallIntegerField(null=True)),
                ('text', models.TextField(blank=True)),
                ('colour', models.CharField(blank=True, max_length=60)),
                ('picture', models.CharField(blank=True, max_length=160)),
                ('blind', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='batches.blindvial')),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member')),
                ('corrects', models.OneToOneField(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='correction', to='batches.smelling')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.lot')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.CreateModel(
            name='SmellingWord',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('text', models.CharField(max_length=60)),
                ('key', models.CharField(help_text='The text as it is compared.', max_length=60)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member')),
                ('merged_into', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='merged', to='batches.smellingword')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.CreateModel(
            name='SmellingSaid',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('position', models.PositiveSmallIntegerField()),
                ('said', models.CharField(max_length=60)),
                ('smelling', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='said', to='batches.smelling')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
                ('word', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='batches.smellingword')),
            ],
        ),
        migrations.CreateModel(
            name='Strip',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('dipped_at', models.DateTimeField()),
                ('remind_minutes', models.JSONField(default=list, help_text='Minutes after dipping, rising.')),
                ('ended_at', models.DateTimeField(null=True)),
                ('blind', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='batches.blindvial')),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.member')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='inventory.lot')),
                ('studio', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='studio.studio')),
            ],
        ),
        migrations.AddField(
            model_name='smelling',
            name='strip',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='notes', to='batches.strip'),
        ),
        migrations.AddIndex(
            model_name='blindset',
            index=models.Index(fields=['studio', '-id'], name='blind_sets_newest_first'),
        ),
        migrations.AddConstraint(
            model_name='blindvial',
            constraint=models.UniqueConstraint(fields=('blind_set', 'code'), name='blind_code_once'),
        ),
        migrations.AddConstraint(
            model_name='blindvial',
            constraint=models.CheckConstraint(condition=models.Q(('code__gte', 100), ('code__lte', 999)), name='blind_code_has_three_digits'),
        ),
        migrations.AddConstraint(
            model_name='smellingword',
            constraint=models.UniqueConstraint(fields=('studio', 'key'), name='smelling_word_once'),
        ),
        migrations.AddConstraint(
            model_name='smellingword',
            constraint=models.CheckConstraint(condition=models.Q(('merged_into__isnull', True), models.Q(('merged_into', models.F('id')), _negated=True), _connector='OR'), name='smelling_word_not_into_itself'),
        ),
        migrations.AddConstraint(
            model_name='smellingsaid',
            constraint=models.UniqueConstraint(fields=('smelling', 'position'), name='smelling_said_position_once'),
        ),
        migrations.AddIndex(
            model_name='strip',
            index=models.Index(condition=models.Q(('ended_at__isnull', True)), fields=['by', 'id'], name='strips_running'),
        ),
        migrations.AddIndex(
            model_name='strip',
            index=models.Index(fields=['studio', '-id'], name='strips_newest_first'),
        ),
        migrations.AddConstraint(
            model_name='strip',
            constraint=models.CheckConstraint(condition=models.Q(('ended_at__isnull', True), ('ended_at__gte', models.F('dipped_at')), _connector='OR'), name='strip_ends_after_dipping'),
        ),
        migrations.AddIndex(
            model_name='smelling',
            index=models.Index(fields=['lot', 'id'], name='smellings_of_lot'),
        ),
        migrations.AddIndex(
            model_name='smelling',
            index=models.Index(fields=['studio', '-id'], name='smellings_newest_first'),
        ),
        migrations.AddConstraint(
            model_name='smelling',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('intensity__isnull', True), ('scale', '')), models.Q(('intensity__gte', 0), ('intensity__lte', 10), ('scale__in', ['plain', 'magnitude'])), _connector='OR'), name='smelling_intensity_on_a_scale'),
        ),
        migrations.AddConstraint(
            model_name='smelling',
            constraint=models.CheckConstraint(condition=models.Q(('liking__isnull', True), models.Q(('liking__gte', 1), ('liking__lte', 9)), _connector='OR'), name='smelling_liking_of_nine'),
        ),
        migrations.AddConstraint(
            model_name='smelling',
            constraint=models.CheckConstraint(condition=models.Q(('minutes__isnull', True), ('minutes__gte', 0), _connector='OR'), name='smelling_after_dipping'),
        ),
        AppendOnly(
            table='batches_blindset', columns=['id', 'studio_id', 'title', 'by_id', 'at', 'revealed_at'], once=['revealed_at']
        ),
        AppendOnly(table='batches_blindvial', columns=['id', 'studio_id', 'blind_set_id', 'lot_id', 'code']),
        AppendOnly(
            table='batches_strip',
            columns=['id', 'studio_id', 'lot_id', 'blind_id', 'by_id', 'dipped_at', 'remind_minutes', 'ended_at'],
            once=['ended_at'],
        ),
        AppendOnly(
            table='batches_smelling',
            columns=[
                'id', 'studio_id', 'lot_id', 'blind_id', 'strip_id', 'by_id', 'at', 'recorded_at', 'minutes', 'scale',
                'intensity', 'liking', 'text', 'colour', 'picture', 'corrects_id',
            ],
        ),
        AppendOnly(
            table='batches_smellingsaid', columns=['id', 'studio_id', 'smelling_id', 'word_id', 'position', 'said']
        ),
    ]
