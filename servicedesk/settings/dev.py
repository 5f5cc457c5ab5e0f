"""For work on the code: debug pages on, templates read anew, nothing secret."""

from servicedesk.settings.base import *  # noqa: F403
from servicedesk.settings.base import TEMPLATES

DEBUG = True
SECRET_KEY = "only for development on this machine, never for a business's own data"
PUSH_KEY = "b25seSBmb3IgdGVzdHMsIG5ldmVyIGZvciBhbGFybXM"
TEMPLATES[0]["OPTIONS"]["loaders"] = [
    "django.template.loaders.filesystem.Loader",
    "django.template.loaders.app_directories.Loader",
]
