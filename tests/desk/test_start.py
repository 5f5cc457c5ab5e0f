"""Starting: each thing in the way is told in one sentence, and the environment is made once."""

import ast
import errno
import importlib.util
import os
import socket
import subprocess
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest
from django.conf import settings
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from servicedesk.desk.management import ground, serving
from servicedesk.desk.management.commands import demo
from tests.factories.people import make_business

ROOT = Path(settings.ROOT)


@pytest.fixture(scope="module")
def manage() -> ModuleType:
    """manage.py as a module, not run."""
    spec = importlib.util.spec_from_file_location("manage_of_this_house", ROOT / "manage.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project's folder with two locks and nothing else."""
    (tmp_path / "requirements.lock").write_text("one==1\n")
    (tmp_path / "requirements-dev.lock").write_text("one==1\ntwo==2\n")
    return tmp_path


@pytest.fixture
def surroundings(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """The variables that a start sets, put back afterwards."""
    names = ("VAR", "COMPILED", "EMAIL_BACKEND", "SMTP_HOST", "HTTPS")
    for name in (f"TANKROUND_{name}" for name in names):
        monkeypatch.setenv(name, "")
    return monkeypatch


def test_python_too_old_is_refused_with_the_version_it_found(
    manage: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as refusal:
        manage.check_python((3, 9, 2))

    assert refusal.value.code == 1
    assert (
        capsys.readouterr().err
        == f"Tankround needs Python 3.11 or newer; this is 3.9.2 ({sys.executable}).\n"
    )


def test_python_new_enough_is_taken(manage: ModuleType) -> None:
    assert [manage.check_python(version) for version in ((3, 11, 0), (3, 13, 1))] == [None, None]


def test_manage_still_reads_under_an_old_python() -> None:
    assert ast.parse((ROOT / "manage.py").read_text(), feature_version=(3, 7))


def test_manage_without_a_word_says_what_there_is() -> None:
    ran = subprocess.run([sys.executable, "manage.py"], cwd=ROOT, capture_output=True, text=True, check=True)

    assert [line.split()[2] for line in ran.stdout.splitlines()] == ["demo", "start", "test"]


def test_environment_made_from_another_lock_does_not_serve(manage: ModuleType, project: Path) -> None:
    environment = whole_environment(manage, project, "run")

    (project / "requirements.lock").write_text("one==1.1\n")

    assert environment.serves("run") is False


def test_environment_without_its_mark_does_not_serve(manage: ModuleType, project: Path) -> None:
    environment = whole_environment(manage, project, "run")

    os.unlink(environment.done)

    assert environment.serves("run") is False


def test_environment_made_for_running_does_not_serve_the_tests(manage: ModuleType, project: Path) -> None:
    environment = whole_environment(manage, project, "run")

    assert [environment.serves("run"), environment.serves("dev")] == [True, False]


def test_environment_made_for_the_tests_serves_all_and_stays_one(manage: ModuleType, project: Path) -> None:
    environment = whole_environment(manage, project, "dev")

    assert [environment.serves("run"), environment.serves("dev")] == [True, True]
    assert environment.kind_to_make("run") == "dev"


def test_environment_left_half_built_is_made_anew(
    manage: ModuleType, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    environment = manage.Environment(str(project))
    (project / ".venv" / "lib").mkdir(parents=True)
    (project / ".venv" / "being-made").touch()
    ran: list[str] = []
    monkeypatch.setattr(environment, "_run", lambda command: ran.append(command[1]))

    environment.make("run")

    assert sorted(path.name for path in (project / ".venv").iterdir()) == ["made-from"]
    assert (project / ".venv" / "made-from").read_text() == environment.mark_for("run")
    assert len(ran) == 2


def test_environment_that_somebody_else_made_is_left_alone(
    manage: ModuleType, project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (project / ".venv").mkdir()
    (project / ".venv" / "theirs").touch()

    with pytest.raises(SystemExit):
        manage.Environment(str(project)).make("run")

    assert "Move it away and try again." in capsys.readouterr().err
    assert (project / ".venv" / "theirs").exists()


def test_environment_on_a_full_disk_is_a_full_disk_and_not_a_riddle(
    manage: ModuleType, project: Path
) -> None:
    environment = manage.Environment(str(project))
    fills = "import sys; print('ERROR: [Errno 28] No space left on device'); sys.exit(1)"

    with pytest.raises(OSError) as full:
        environment._run([sys.executable, "-c", fills])

    assert full.value.errno == errno.ENOSPC


def whole_environment(manage: ModuleType, project: Path, kind: str):  # type: ignore[no-untyped-def]
    environment = manage.Environment(str(project))
    (project / ".venv" / "bin").mkdir(parents=True)
    os.symlink(sys.executable, environment.python)
    Path(environment.done).write_text(environment.mark_for(kind))
    return environment


def test_missing_pango_is_refused_with_the_line_to_type(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ground, "DRAWING_LIBRARIES", ("libnowhere.so.9",))

    with pytest.raises(ground.Refused) as refusal:
        ground.need_pango()

    assert refusal.value.code == (
        "Pango is missing (libnowhere.so.9), and without it there are no reports. As root, do this first: "
        "apt-get update && apt-get install -y --no-install-recommends python3-venv libpangoft2-1.0-0"
    )


def test_port_that_another_program_has_is_refused() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]

        with pytest.raises(ground.Refused) as refusal:
            ground.need_port(port)

    assert refusal.value.code == f"Port {port} is taken by another program. Try --port {port % 65535 + 1}."


def test_port_beyond_the_last_is_refused() -> None:
    with pytest.raises(ground.Refused) as refusal:
        ground.need_port(70000)

    assert refusal.value.code == "70000 is not a port. Ports go from 1 to 65535."


def test_data_folder_that_another_start_holds_is_refused_with_what_it_does(tmp_path: Path) -> None:
    held = ground.hold(tmp_path, note="at http://127.0.0.1:8000")

    with pytest.raises(ground.Refused) as refusal:
        ground.hold(tmp_path, note="at http://127.0.0.1:8001")
    os.close(held)

    assert refusal.value.code == (
        f"Tankround already runs on the data folder {tmp_path} (process {os.getpid()}, at http://127.0.0.1:8000)."
    )


def test_data_folder_is_free_again_when_the_first_has_ended(tmp_path: Path) -> None:
    os.close(ground.hold(tmp_path, note="first"))

    held = ground.hold(tmp_path, note="second")
    os.close(held)

    assert (tmp_path / "lock").read_text() == f"process {os.getpid()}, second\n"


def test_data_folder_that_is_a_file_is_refused(tmp_path: Path, surroundings: pytest.MonkeyPatch) -> None:
    (tmp_path / "var").write_text("a file")
    surroundings.setenv("TANKROUND_VAR", str(tmp_path / "var" / "deeper"))

    with pytest.raises(ground.Refused) as refusal:
        ground.choose_data_folder("start", str(ROOT))

    assert refusal.value.code == (
        f"The data folder {tmp_path}/var/deeper cannot be written to (Not a directory)."
    )


def test_demo_lives_in_a_folder_of_its_own_and_mails_to_files(
    tmp_path: Path, surroundings: pytest.MonkeyPatch
) -> None:
    surroundings.setenv("TANKROUND_VAR", str(tmp_path))
    surroundings.setenv("TANKROUND_SMTP_HOST", "mail.example")

    folder = ground.choose_data_folder("demo", str(ROOT))

    assert (folder, os.environ["TANKROUND_VAR"]) == (tmp_path / "demo", str(tmp_path / "demo"))
    assert "TANKROUND_SMTP_HOST" not in os.environ
    assert os.environ["TANKROUND_COMPILED"] == str(tmp_path / "compiled")
    assert list(folder.iterdir()) == []


def test_full_disk_is_one_sentence_whoever_meets_it(tmp_path: Path) -> None:
    with pytest.raises(ground.Refused) as by_file, ground.plain_refusals(tmp_path):
        raise OSError(errno.ENOSPC, "No space left on device")
    with pytest.raises(ground.Refused) as by_database, ground.plain_refusals(tmp_path):
        raise RuntimeError("database or disk is full")

    sentence = f"The disk is full: {tmp_path} takes no more. Free some room and try again."
    assert [by_file.value.code, by_database.value.code] == [sentence, sentence]


def test_other_errors_are_not_made_up_into_full_disks(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="something else"), ground.plain_refusals(tmp_path):
        raise ValueError("something else")


@pytest.mark.parametrize(
    ("vendor", "processors", "asked", "processes"),
    [("sqlite", 8, 0, 1), ("postgresql", 8, 0, 2), ("postgresql", 1, 0, 1), ("postgresql", 2, 5, 5), ("sqlite", 2, 3, 3)],
)  # fmt: skip
def test_as_many_web_processes_as_the_database_has_use_for(
    monkeypatch, settings, vendor, processors, asked, processes
) -> None:
    settings.WEB_PROCESSES = asked
    monkeypatch.setattr(serving, "connection", SimpleNamespace(vendor=vendor))
    monkeypatch.setattr(serving.os, "cpu_count", lambda: processors)

    (web,) = (child for child in serving.children(8000) if child.name == "web")

    assert web.command[web.command.index("-w") + 1] == str(processes)
    assert [child.stands_back for child in serving.children(8000)][:3] == [0, 5, 10]


@pytest.mark.django_db
def test_data_of_a_newer_version_is_refused_before_anything_is_changed() -> None:
    MigrationRecorder(connection).record_applied("staff", "0099_from_tomorrow")

    with pytest.raises(ground.Refused) as refusal:
        serving.prepare_database()

    assert refusal.value.code == (
        "This data was last used by a newer Tankround (staff.0099_from_tomorrow is not known here). "
        "Use that version, or bring back a copy from before."
    )


@pytest.mark.django_db
def test_data_of_this_version_is_not_newer() -> None:
    assert serving.newer_than_the_code() == []


@pytest.mark.django_db
def test_data_from_before_tables_were_drawn_together_is_taken_as_it_is() -> None:
    recorder = MigrationRecorder(connection)
    recorder.record_unapplied("rounds", "0001_tables")
    assert ("rounds", "0013_master_rounds") in recorder.applied_migrations()

    serving.prepare_database()

    assert ("rounds", "0001_tables") in recorder.applied_migrations()


@pytest.mark.django_db
def test_data_from_the_midst_of_what_was_drawn_together_is_refused() -> None:
    recorder = MigrationRecorder(connection)
    recorder.record_unapplied("rounds", "0001_tables")
    recorder.record_unapplied("rounds", "0013_master_rounds")

    with pytest.raises(ground.Refused) as refusal:
        serving.prepare_database()

    assert refusal.value.code == (
        "This data was last used by a Tankround too old to be brought up to date from here. "
        "Start a version in between with it first."
    )


@pytest.mark.django_db
def test_demo_does_not_load_into_a_business_that_is_there(tmp_path: Path) -> None:
    make_business()
    demo.User.objects.create_user(email="own@example.invalid", name="Own", role="owner", password="x" * 15)

    with pytest.raises(ground.Refused) as refusal:
        demo.Command().loaded(tmp_path)

    assert refusal.value.code == (
        "This database holds a business already. The demo wants an empty database of its own."
    )
    assert list(tmp_path.iterdir()) == []


# slow: a fresh interpreter
@pytest.mark.slow
def test_the_bell_of_the_queue_hangs_in_every_process_of_the_house() -> None:
    asks = "import django; django.setup(); from servicedesk.dispatch.actions import _Bells; print(_Bells.ring.__module__)"
    surroundings = os.environ | {"DJANGO_SETTINGS_MODULE": "servicedesk.settings.test"}

    ran = subprocess.run(
        [sys.executable, "-c", asks], cwd=ROOT, env=surroundings, capture_output=True, text=True
    )

    assert ran.stdout == "servicedesk.dispatch.jobs\n", ran.stderr
