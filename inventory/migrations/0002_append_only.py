from django.db import migrations

from studio.kernel.append_only import AppendOnly


def leave_room(apps, schema_editor):
    """Balances change with every movement: a page of lots kept partly free is updated in place (PostgreSQL)."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("ALTER TABLE inventory_lot SET (fillfactor = 80)")


class Migration(migrations.Migration):
    """What the ledger holds is append-only; the rows of lots leave room to be updated in place."""

    dependencies = [("inventory", "0001_initial")]

    operations = [
        AppendOnly(
            table='inventory_movement',
            columns=['id', 'studio_id', 'source_id', 'target_id', 'source_revision', 'source_concentration', 'mass',
                     'mass_u', 'reason', 'why', 'batch', 'at', 'recorded_at', 'by_id', 'reverses_id', 'operation'],
        ),
        AppendOnly(
            table='inventory_lotcontent',
            columns=['id', 'studio_id', 'lot_id', 'revision', 'material_id', 'fraction', 'uncertainty'],
        ),
        AppendOnly(
            table='inventory_balancecheck',
            columns=['id', 'studio_id', 'balance_id', 'reference', 'reading', 'allowed_error', 'bound_source', 'passed',
                     'at', 'recorded_at', 'by_id'],
        ),
        migrations.RunPython(leave_room, migrations.RunPython.noop),
    ]
