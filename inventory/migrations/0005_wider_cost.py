from django.db import migrations, models


class Migration(migrations.Migration):
    """Room for what the dearest material costs once most of its solvent is gone."""

    dependencies = [("inventory", "0002_append_only")]

    operations = [
        migrations.AlterField(
            model_name="lot",
            name="cost_per_gram",
            field=models.DecimalField(
                decimal_places=9,
                help_text="What evaporates leaves its cost to the rest.",
                max_digits=20,
                null=True,
            ),
        ),
    ]
