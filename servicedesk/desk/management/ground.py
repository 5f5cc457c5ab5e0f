"""The ground a start stands on: data folder, port, libraries. Whatever is wrong is told in one sentence.

Only the standard library, no settings: this runs before Django is there to ask."""

import ctypes
import errno
import fcntl
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

APT_LINE = "apt-get update && apt-get install -y --no-install-recommends python3-venv libpangoft2-1.0-0"
DRAWING_LIBRARIES = ("libgobject-2.0.so.0", "libpango-1.0.so.0", "libpangoft2-1.0.so.0", "libharfbuzz.so.0")
FULL = (errno.ENOSPC, errno.EDQUOT)
SHUT = (errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOTDIR)


class Refused(SystemExit):
    """The start is refused. The sentence goes to the error stream and the exit code is 1."""


def need_pango() -> None:
    """Refuse when the libraries that lay out text for the PDF are not on this machine."""
    for name in DRAWING_LIBRARIES:
        try:
            ctypes.CDLL(name)
        except OSError:
            raise Refused(
                f"Pango is missing ({name}), and without it there are no reports. As root, do this first: {APT_LINE}"
            ) from None


def choose_data_folder(command: str, root: str) -> Path:
    """Name the data folder in TANKROUND_VAR for this process and its children, make it and try it.

    `start` uses TANKROUND_VAR or var; `demo` uses the folder demo inside it, so that it never meets a business's
    own data, and sends its mail to files whatever the surroundings say. What is compiled is kept beside it, for both."""
    home = Path(os.environ.get("TANKROUND_VAR") or Path(root) / "var").absolute()
    folder = home / "demo" if command == "demo" else home
    os.environ["TANKROUND_VAR"] = str(folder)
    os.environ["TANKROUND_COMPILED"] = os.environ.get("TANKROUND_COMPILED") or str(home / "compiled")
    if command == "demo":
        os.environ["TANKROUND_EMAIL_BACKEND"] = "django.core.mail.backends.filebased.EmailBackend"
        os.environ.pop("TANKROUND_SMTP_HOST", None)
        os.environ.pop("TANKROUND_HTTPS", None)
    with plain_refusals(folder):
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f"probe.{os.getpid()}"
        try:
            probe.write_bytes(b"\0" * 65536)
        finally:
            probe.unlink(missing_ok=True)
    return folder


@contextmanager
def plain_refusals(folder: Path | None = None) -> Iterator[None]:
    """Turn a full disk and a folder that may not be written into one sentence each."""
    where = folder or Path(os.environ.get("TANKROUND_VAR", "var"))
    try:
        yield
    except OSError as error:
        if error.errno in FULL:
            raise Refused(f"The disk is full: {where} takes no more. Free some room and try again.") from None
        if error.errno in SHUT:
            raise Refused(f"The data folder {where} cannot be written to ({error.strerror}).") from None
        raise
    except Exception as error:
        if "disk is full" in str(error):
            raise Refused(f"The disk is full: {where} takes no more. Free some room and try again.") from None
        if "readonly database" in str(error):
            raise Refused(
                f"The data folder {where} cannot be written to (its database is read-only)."
            ) from None
        raise


def hold(folder: Path, *, note: str) -> int:
    """Take the data folder for this process alone; the open file keeps it until the process ends.

    `note` is what the next one is told (an address or what is being done). Raises Refused when somebody has it."""
    held = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        told = os.read(held, 400).decode(errors="replace").strip()
        os.close(held)
        raise Refused(
            f"Tankround already runs on the data folder {folder} ({told or 'no note left'})."
        ) from None
    os.ftruncate(held, 0)
    os.pwrite(held, f"process {os.getpid()}, {note}\n".encode(), 0)
    return held


def need_port(port: int) -> None:
    """Refuse when this machine's port cannot be had."""
    if not 1 <= port <= 65535:
        raise Refused(f"{port} is not a port. Ports go from 1 to 65535.")
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as door:
        door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            door.bind(("127.0.0.1", port))
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                raise Refused(
                    f"Port {port} is taken by another program. Try --port {port % 65535 + 1}."
                ) from None
            if error.errno == errno.EACCES:
                raise Refused(f"Port {port} is not free to ordinary users. Try --port 8000.") from None
            raise
