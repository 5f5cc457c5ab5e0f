#!/usr/bin/env python3
"""The one command of the house. It makes the environment it needs, then hands over to it.

    python3 manage.py demo     an invented business, ready to try          [--fresh] [--port N] [--no-serve]
    python3 manage.py start    your own business's data                    [--port N]
    python3 manage.py test     the tests                        [--long] [--branches] [anything pytest takes]

Any other word is a command of Django's (migrate, check and so on). The first half of this file needs nothing but the
standard library and still reads under Python 3.7, so that an old Python gets a sentence and not a riddle."""

import errno
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile

ROOT = os.path.dirname(os.path.abspath(__file__))
OLDEST = (3, 11)
SYSTEM_PACKAGES = (
    "apt-get update && apt-get install -y --no-install-recommends python3-venv libpangoft2-1.0-0"
)
LOCKS = {"run": "requirements.lock", "dev": "requirements-dev.lock"}
MARK_DONE = "made-from"
MARK_UNDER_WAY = "being-made"


def refuse(sentence):
    """End here with one sentence and exit code 1."""
    sys.stderr.write(sentence + "\n")
    raise SystemExit(1)


def check_python(version):
    """Refuse a Python that is too old; `version` is a tuple such as (3, 9, 2)."""
    if tuple(version[:2]) < OLDEST:
        refuse(
            "Tankround needs Python {} or newer; this is {} ({}).".format(
                ".".join(str(n) for n in OLDEST), ".".join(str(n) for n in version[:3]), sys.executable
            )
        )


class Environment:
    """The folder .venv, made once from a lock with hashes. Two marks in it say what it was made from, and that it
    is being made: a folder that carries the second without the first was left half-built and is made anew."""

    def __init__(self, root):
        self.root = root
        self.folder = os.path.join(root, ".venv")
        self.python = os.path.join(self.folder, "bin", "python")
        self.done = os.path.join(self.folder, MARK_DONE)
        self.under_way = os.path.join(self.folder, MARK_UNDER_WAY)

    def lock_path(self, kind):
        return os.path.join(self.root, LOCKS[kind])

    def mark_for(self, kind):
        """What the mark says when the environment was made from today's lock of this kind."""
        with open(self.lock_path(kind), "rb") as lock:
            return kind + " " + hashlib.sha256(lock.read()).hexdigest() + "\n"

    def serves(self, kind):
        """Whether it is whole and good for this kind of work; one made for the tests also runs the rest."""
        try:
            with open(self.done) as mark:
                made_from = mark.read()
        except OSError:
            return False
        if not os.access(self.python, os.X_OK):
            return False
        return made_from in (self.mark_for(kind), self.mark_for("dev"))

    def kind_to_make(self, kind):
        """An environment once made for the tests stays one."""
        try:
            with open(self.done) as mark:
                return "dev" if mark.read().startswith("dev ") else kind
        except OSError:
            return kind

    def make(self, kind):
        """Make it, or bring it to today's lock. Only one process does so at a time."""
        kind = self.kind_to_make(kind)
        whole = os.path.exists(self.done) and os.access(self.python, os.X_OK)
        ours = os.path.exists(self.under_way) or os.path.exists(self.done)
        if not whole:
            if ours:
                shutil.rmtree(self.folder)
            elif os.path.exists(self.folder):
                refuse("There is a .venv here that this command did not make. Move it away and try again.")
            os.mkdir(self.folder)
            open(self.under_way, "w").close()
        say(f"Making the environment in .venv from {LOCKS[kind]}. This happens once.")
        uv = shutil.which("uv")
        if not whole:
            self._run(
                [uv, "venv", "-q", "--allow-existing", "--python", sys.executable, self.folder]
                if uv
                else self._venv()
            )
        install = [uv, "pip", "install", "-q", "--python", self.python] if uv else self._pip()
        self._run(install + ["--require-hashes", "-r", self.lock_path(kind)])
        with open(self.done, "w") as mark:
            mark.write(self.mark_for(kind))
        if os.path.exists(self.under_way):
            os.unlink(self.under_way)

    def _venv(self):
        return [sys.executable, "-m", "venv", self.folder]

    def _pip(self):
        return [self.python, "-m", "pip", "install", "-q", "--no-input", "--disable-pip-version-check"]

    def _run(self, command):
        result = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
        if result.returncode == 0:
            return
        told = result.stdout.decode("utf-8", "replace").strip()
        if "No space left on device" in told or "Errno 28" in told:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), self.folder)
        if "ensurepip" in told:
            refuse_without_venv()
        sys.stderr.write("\n".join(told.splitlines()[-12:]) + "\n")
        refuse("The environment could not be made; the reason stands above. Nothing else was changed.")


def say(sentence):
    sys.stdout.write(sentence + "\n")
    sys.stdout.flush()


def refuse_without_venv():
    refuse("Python's venv module is missing. As root, do this first: " + SYSTEM_PACKAGES)


def enter_environment(kind):
    """Go on in .venv, which is made first when it is not there. Returns only when already inside."""
    environment = Environment(ROOT)
    if os.environ.get("TANKROUND_NO_BOOTSTRAP") == "1":
        return
    if os.path.exists(environment.folder) and os.path.samefile(sys.prefix, environment.folder):
        return
    if not environment.serves(kind):
        make_alone(environment, kind)
    os.execv(environment.python, [environment.python, os.path.join(ROOT, "manage.py")] + sys.argv[1:])


def make_alone(environment, kind):
    """Hold the project's folder while the environment is made; whoever waited finds it done."""
    import fcntl

    if not shutil.which("uv"):
        try:
            import ensurepip  # noqa: F401  only whether it is there
            import venv  # noqa: F401  only whether it is there
        except ImportError:
            refuse_without_venv()
    held = os.open(environment.root, os.O_RDONLY)
    try:
        fcntl.flock(held, fcntl.LOCK_EX)
        if not environment.serves(kind):
            environment.make(kind)
    finally:
        os.close(held)


BRANCHES = (
    "Not every branch of core and actions ran: the lines that miss one stand above.",
    "Every branch of core and actions ran.",
)


def run_tests(arguments):
    """The tests in a process of their own, with a folder of their own that goes away afterwards. With --branches it is
    counted which branches of core and actions ran, and one that did not is a failure."""
    folder = tempfile.mkdtemp(prefix="tankround-test-")
    surroundings = dict(
        os.environ, DJANGO_SETTINGS_MODULE="servicedesk.settings.test", TANKROUND_TEST_VAR=folder
    )
    counted = "--branches" in arguments
    surroundings["COVERAGE_FILE"] = os.path.join(folder, "branches")
    tests = ["-m", "coverage", "run", "-m", "pytest"] if counted else ["-m", "pytest"]
    tests += [argument for argument in arguments if argument != "--branches"]
    try:
        ended = subprocess.call([sys.executable] + tests, cwd=ROOT, env=surroundings)
        if counted:
            report = subprocess.call([sys.executable, "-m", "coverage", "report"], cwd=ROOT, env=surroundings)
            say(BRANCHES[report == 0])
            ended = ended or report
        return ended
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def hand_over(arguments):
    """Inside the environment: the tests, or a command of Django's."""
    if arguments[0] == "test":
        raise SystemExit(run_tests(arguments[1:]))
    from servicedesk.desk.management import ground

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings.prod")
    if arguments[0] in ("demo", "start") and not {"-h", "--help"}.intersection(arguments):
        ground.choose_data_folder(arguments[0], ROOT)
    with ground.plain_refusals():
        from django.core.management import execute_from_command_line

        execute_from_command_line([os.path.join(ROOT, "manage.py")] + arguments)


def main(arguments):
    check_python(sys.version_info)
    if not arguments or arguments[0] in ("-h", "--help", "help"):
        say("\n".join((__doc__ or "").splitlines()[2:5]))
        return
    os.chdir(ROOT)
    sys.path.insert(0, ROOT)
    if arguments[0] in ("demo", "start", "test"):
        from servicedesk.desk.management import ground  # the standard library only, so it may come this early

        ground.need_pango()
    try:
        enter_environment("dev" if arguments[0] == "test" else "run")
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            refuse("The disk is full: the environment does not fit. Free about 500 MB and try again.")
        if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
            refuse(f"The project's folder {ROOT} cannot be written to, so no environment fits in it.")
        raise
    hand_over(arguments)


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except KeyboardInterrupt:
        raise SystemExit(130)
