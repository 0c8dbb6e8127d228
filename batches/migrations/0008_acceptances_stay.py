from django.db import migrations

from studio.kernel.append_only import AppendOnly


class Migration(migrations.Migration):
    """What was accepted stays as it was accepted."""

    dependencies = [("batches", "0007_planned_days")]

    operations = [
        AppendOnly(
            table="batches_remakeacceptance",
            columns=["id", "studio_id", "operation", "digest", "rows", "batches", "purchases", "by_id", "at"],
        ),
    ]
