from django.db import migrations

from studio.kernel.append_only import AppendOnly


class Migration(migrations.Migration):
    """A weighing stays as it was recorded; it may be struck through once."""

    dependencies = [("batches", "0002_initial")]

    operations = [
        AppendOnly(
            table='batches_weighing',
            columns=['id', 'studio_id', 'batch_id', 'line_id', 'lot_id', 'mass', 'mass_u', 'lot_revision',
                     'lot_concentration', 'balance_id', 'balance_check_id', 'source', 'reading', 'at', 'recorded_at',
                     'by_id', 'operation', 'struck_at', 'struck_by_id', 'strike_reason'],
            once=['struck_at', 'struck_by_id', 'strike_reason'],
        ),
    ]
