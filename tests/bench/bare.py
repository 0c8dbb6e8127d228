"""A web process of the framework alone: settings, one view and the entry point, without anything of the service."""

SECRET_KEY = "only-for-the-bench"
ALLOWED_HOSTS = ["*"]
INSTALLED_APPS = ["django.contrib.auth", "django.contrib.contenttypes", "rest_framework"]
ROOT_URLCONF = "tests.bench.bare_view"
USE_TZ = True
