"""The queue in a folder, with messages that are there whole or not at all.

The library writes a message where its reader looks for it: a reader that comes between opening and writing meets an
empty file, and the worker ends. Here it is written beside, under a name that no reader takes, and then renamed."""

import os
import uuid
from pathlib import Path
from time import monotonic
from typing import Any

from kombu.transport import filesystem
from kombu.utils.json import dumps


class Channel(filesystem.Channel):
    def _put(self, queue: str, payload: Any, **kwargs: Any) -> None:  # type: ignore[override]  # as the library itself overrides it
        name = f"{round(monotonic() * 1000)}_{uuid.uuid4()}.{queue}.msg"
        whole, beside = (Path(self.data_folder_out, name + ending) for ending in ("", ".part"))
        beside.write_text(dumps(payload))  # type: ignore[no-untyped-call]  # kombu is not typed
        os.replace(beside, whole)


class Transport(filesystem.Transport):
    Channel = Channel
