"""Why a report could not be made, in words. What was thrown stays on the row and in the log."""

import builtins
import re

from django.utils.translation import gettext as _

THROWN = re.compile(r"^(?P<kind>[A-Za-z_][\w.]*): ?(?P<rest>.*)$", re.DOTALL)
INSIDE = re.compile(r" \(\w*(?:Error|Exception|Warning)\b.*\)", re.DOTALL)
NO_ROOM = re.compile(r"\[Errno (?:28|122)\]")
"""ENOSPC and EDQUOT of Linux."""
DATABASE = {"OperationalError", "InterfaceError", "DatabaseError"}
SAYS_ITSELF = {"RenderFailed", "GiveUp"}
"""What is thrown with a sentence for people."""


def why_failed(error: str) -> str:
    """The reason as the office reads it: a sentence stays, what was thrown is told without its name and its path."""
    thrown = THROWN.match(error.strip())
    if thrown is None:
        return INSIDE.sub("", error.strip())
    kind = thrown["kind"].rpartition(".")[2]
    if kind in SAYS_ITSELF:
        return INSIDE.sub("", thrown["rest"])
    known = getattr(builtins, kind, None)
    if isinstance(known, type) and issubclass(known, OSError):
        return _no_disk(kind, error)
    if kind in DATABASE:
        return _("The database did not answer.")
    if kind == "MemoryError":
        return _("There was not enough memory.")
    return _("Something went wrong in the program. Its log says more.")


def _no_disk(kind: str, error: str) -> str:
    if NO_ROOM.search(error):
        return _("The disk is full.")
    if kind == "FileNotFoundError":
        return _("A file that it needs is not there.")
    if kind in ("ConnectionError", "ConnectionRefusedError", "ConnectionResetError", "BrokenPipeError"):
        return _("A part of the program did not answer.")
    if kind == "TimeoutError":
        return _("It took too long.")
    return _("It could not be written to disk.")
