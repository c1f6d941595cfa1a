"""WSGI entry for gunicorn."""

import gc
import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "facility.project.settings")
application = get_wsgi_application()

# Everything is loaded here, before gunicorn makes its workers, so that they share the memory.
_ = get_resolver().url_patterns
gc.collect()
gc.freeze()
