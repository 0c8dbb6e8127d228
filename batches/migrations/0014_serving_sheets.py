from django.db import migrations, models


class Migration(migrations.Migration):
    """The sheet of a panel's trays is a paper too."""

    dependencies = [
        ('batches', '0013_grids'),
        ('studio', '0007_browser_sessions'),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name='document',
            name='document_kind_known',
        ),
        migrations.AlterField(
            model_name='document',
            name='kind',
            field=models.CharField(choices=[('ticket', 'Ticket'), ('labels', 'Labels'), ('recall', 'Recall'), ('count list', 'Count List'), ('servings', 'Servings')], max_length=12),
        ),
        migrations.AddConstraint(
            model_name='document',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['ticket', 'labels', 'recall', 'count list', 'servings'])), name='document_kind_known'),
        ),
    ]
