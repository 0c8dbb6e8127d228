"""The entry point for a WSGI server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
application = get_wsgi_application()

# Needs the applications to be set up, so it comes after them.
from studio.kernel.background import keep_time  # noqa: E402
from studio.kernel.durability import refuse_unsafe_database  # noqa: E402

refuse_unsafe_database()
keep_time()
