"""WSGI entry point."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

application = get_wsgi_application()

# Needs the settings that the application has just read.
from django.urls import get_resolver  # noqa: E402

from fleet.at_rest import set_aside_what_stays  # noqa: E402

# Pages are loaded before the first request asks for one, not by it.
_ = get_resolver().url_patterns
set_aside_what_stays()
