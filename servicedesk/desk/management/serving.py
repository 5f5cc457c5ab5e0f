"""What demo and start share: bring the database and the static files up to the code, then run the process tree."""

import os
import shutil
import signal
import sys
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, OperationalError, connection, connections
from django.db.migrations.loader import MigrationLoader

from servicedesk.desk.management.ground import Refused
from servicedesk.desk.management.tree import Child, Tree
from servicedesk.dispatch.choices import JobState, MessageState
from servicedesk.dispatch.models import Job, Message

WEB_WORKER = "servicedesk.web.gathering.GatheringWorker"
JOBS_LIMIT_MB, PLANS_LIMIT_MB = 400, 1500
FULL_BELOW = 1_000_000
AS_ROOT = "ignore:You're running the worker with superuser privileges"
CELERY = [sys.executable, "-W", AS_ROOT, "-m", "celery", "-q", "--skip-checks", "-A", "servicedesk.celery"]


def newer_than_the_code() -> list[str]:
    """Names of migrations in the database that this code does not have, for the apps that it has. It has, too, those that were
    drawn together into one."""
    loader = MigrationLoader(connection, ignore_no_migrations=True)
    known = set(loader.disk_migrations)
    known.update(name for migration in loader.disk_migrations.values() for name in migration.replaces)
    ours = loader.migrated_apps
    return sorted(
        f"{app}.{name}" for app, name in loader.applied_migrations if app in ours and (app, name) not in known
    )


def too_old_for_the_code() -> list[str]:
    """Migrations drawn together from others of which the database has some and not all: the rest is no longer there to be run."""
    loader = MigrationLoader(connection, ignore_no_migrations=True)
    there = set(loader.applied_migrations)
    return sorted(
        f"{app}.{name}"
        for (app, name), migration in loader.disk_migrations.items()
        if (app, name) not in there
        and 0 < len(there.intersection(migration.replaces)) < len(migration.replaces)
    )


def prepare_database() -> None:
    """Migrate; refuse a database that a newer version has used, and one that does not answer."""
    try:
        newer = newer_than_the_code()
    except OperationalError as error:
        if connection.vendor == "sqlite":
            raise
        reason = str(error).strip().splitlines()[-1]
        raise Refused(f"The database that DATABASE_URL names does not answer: {reason}") from None
    if newer:
        raise Refused(
            f"This data was last used by a newer Tankround ({newer[-1]} is not known here). "
            "Use that version, or bring back a copy from before."
        )
    if too_old_for_the_code():
        raise Refused(
            "This data was last used by a Tankround too old to be brought up to date from here. "
            "Start a version in between with it first."
        )
    call_command("migrate", interactive=False, verbosity=0)


def prepare_files() -> None:
    """Folders of the queue and of papers, and the static files with their hashed names."""
    for folder in (settings.QUEUE / "in", settings.QUEUE / "done", settings.QUEUE / "ctl"):
        Path(folder).mkdir(parents=True, exist_ok=True)
    for folder in (
        settings.MEDIA_ROOT,
        settings.PAPERS_ROOT,
        settings.EMAIL_FILE_PATH,
        settings.VAR / "beat",
    ):
        Path(folder).mkdir(parents=True, exist_ok=True)
    call_command("collectstatic", interactive=False, verbosity=0)


def web_processes() -> int:
    """A Python process works on one processor. With PostgreSQL there are two where the machine has two, so that a hundred deliveries a second
    leave room for pages; SQLite lets one write at a time, and a second process would only wait. The owner may say another number."""
    if settings.WEB_PROCESSES > 0:
        return settings.WEB_PROCESSES
    return min(2, os.cpu_count() or 1) if connection.vendor == "postgresql" else 1


def children(port: int) -> list[Child]:
    """Web, jobs, plans (searches that take long, beside all else) and beat, and a listener where a broker is named. Threads suffice for the queue in a folder; with Redis the work is forked.
    Where the processor is short, whoever waits for an answer comes before jobs, and jobs before plans."""
    forked = settings.CELERY_BROKER_URL.startswith("redis")
    web = [
        sys.executable,
        "-m",
        "gunicorn",
        "servicedesk.wsgi:application",
        "-k",
        WEB_WORKER,
        "-w",
        str(web_processes()),
    ]
    web += ["--worker-connections", "400", "--threads", "8", "-b", f"127.0.0.1:{port}"]
    web += ["--graceful-timeout", "3", "--timeout", "60"]
    web += ["--keep-alive", "5", "--log-level", "warning", "--no-control-socket"]
    pool = (
        ["-P", "prefork", "--max-tasks-per-child", "100", "--max-memory-per-child", "400000"]
        if forked
        else ["-P", "threads"]
    )
    worker = CELERY + ["worker", "-l", "WARNING", "--without-gossip", "--without-mingle", *pool]
    jobs, plans = [*worker, "-c", "2"], [*worker, "-c", "1", "-Q", "plans", "-n", "plans@%h"]
    beat = CELERY + ["beat", "-l", "WARNING", "-s", str(settings.VAR / "beat" / "schedule")]
    found = [
        Child("web", web),
        Child("jobs", jobs, on_parents_death=signal.SIGKILL, limit_mb=JOBS_LIMIT_MB, stands_back=5),
        Child("plans", plans, on_parents_death=signal.SIGKILL, limit_mb=PLANS_LIMIT_MB, stands_back=10),
        Child("beat", beat, on_parents_death=signal.SIGKILL),
    ]
    if settings.MQTT:
        listen = [sys.executable, str(settings.ROOT / "manage.py"), "listen"]
        found.append(Child("listen", listen, on_parents_death=signal.SIGKILL))
    return found


def work_under_way() -> bool:
    """Whether a job is being done or a message being sent right now, as far as the ledger can be asked."""
    try:
        return (
            Job.objects.filter(state=JobState.RUNNING).exists()
            or Message.objects.filter(state=MessageState.SENDING).exists()
        )
    except DatabaseError:
        return True


def serve(*, port: int, say: Callable[[str], None], ready: Callable[[], None]) -> int:
    """Run the tree until it is told to end. Gives the exit code."""
    connections.close_all()
    os.environ.setdefault("TANKROUND_URL", address(port))
    code = Tree(children(port), port=port, say=say, ready=ready, busy=work_under_way).run()
    if code and shutil.disk_usage(settings.VAR).free < FULL_BELOW:
        say(f"The disk is full: {settings.VAR} takes no more. Free some room and try again.")
    return code


def address(port: int) -> str:
    return f"http://127.0.0.1:{port}"
