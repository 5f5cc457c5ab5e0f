"""The door for an asynchronous web server."""

import os

from django.core.asgi import get_asgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings.prod")
application = get_asgi_application()
