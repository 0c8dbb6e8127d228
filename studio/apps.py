from django.apps import AppConfig


class StudioConfig(AppConfig):
    name = "studio"
    verbose_name = "Studio"

    def ready(self) -> None:
        # Makes the configured Celery application the one that every `shared_task` belongs to.
        from studio.celery import app

        app.set_default()
