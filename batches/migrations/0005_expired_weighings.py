from django.db import migrations, models

from studio.kernel.append_only import AppendOnly


class Migration(migrations.Migration):
    """Why a lot past its day was poured from stands with the weighing, and like it for ever."""

    dependencies = [("batches", "0003_append_only")]

    operations = [
        migrations.AddField(
            model_name="weighing",
            name="expired_reason",
            field=models.TextField(
                blank=True, default="", help_text="Why it was poured from a lot past its day."
            ),
            preserve_default=False,
        ),
        AppendOnly(
            table='batches_weighing',
            columns=['id', 'studio_id', 'batch_id', 'line_id', 'lot_id', 'mass', 'mass_u', 'lot_revision',
                     'lot_concentration', 'balance_id', 'balance_check_id', 'source', 'reading', 'at', 'recorded_at',
                     'by_id', 'operation', 'expired_reason', 'struck_at', 'struck_by_id', 'strike_reason'],
            once=['struck_at', 'struck_by_id', 'strike_reason'],
        ),
    ]
