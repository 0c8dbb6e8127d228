from django.apps import AppConfig
from django.core.checks import Tags, register


class StudioConfig(AppConfig):
    name = "studio"
    verbose_name = "Studio"

    def ready(self) -> None:
        # Makes the configured Celery application the one that every `shared_task` belongs to.
        from studio.celery import app

        app.set_default()
        from studio.kernel.durability import check_durability

        register(check_durability, Tags.database)
