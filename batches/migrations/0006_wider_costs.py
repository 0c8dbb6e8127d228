from django.db import migrations, models


class Migration(migrations.Migration):
    """Room for what a batch of the dearest materials costs."""

    dependencies = [("batches", "0005_expired_weighings")]

    operations = [
        migrations.AlterField(
            model_name="batch",
            name=name,
            field=models.DecimalField(decimal_places=4, max_digits=24, null=True),
        )
        for name in ("planned_cost", "actual_cost")
    ]
