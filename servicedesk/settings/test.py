"""For the tests: quick passwords, mail in memory, jobs rung but not run unless a test says so."""

import os
import tempfile
from pathlib import Path

from servicedesk.settings.base import *  # noqa: F403
from servicedesk.settings.base import DATABASE_URL, database

SECRET_KEY = "only for tests"
PUSH_KEY = "b25seSBmb3IgdGVzdHMsIG5ldmVyIGZvciBhbGFybXM"
VAR = Path(os.environ.get("TANKROUND_TEST_VAR") or tempfile.mkdtemp(prefix="tankround-test-"))
DATABASES = {"default": database(DATABASE_URL, sqlite_path=VAR / "tests.sqlite3")}
if DATABASE_URL:
    DATABASES["default"]["TEST"] = {
        "NAME": f"test_tankround_{os.environ.get('TANKROUND_TEST_NAME', os.getpid())}"
    }
    DATABASES["default"]["CONN_MAX_AGE"] = 0
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
MEDIA_ROOT = VAR / "media"
PAPERS_ROOT = VAR / "papers"
STATIC_ROOT = VAR / "static"
EMAIL_FILE_PATH = VAR / "mail"
AXES_ENABLED = False
CELERY_BROKER_URL = "memory://"
CELERY_BROKER_TRANSPORT_OPTIONS = {}
