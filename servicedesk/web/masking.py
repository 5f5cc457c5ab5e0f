"""Log lines never hold a token, a cookie or a password."""

import logging
import re

SECRET = re.compile(
    r"(?i)(bearer\s+|trk_|(?:password|token|sessionid|csrf\w{0,12}|secret)[\"']?\s{0,4}[=:]\s{0,4}[\"']?)[^\s\"'&;,]{1,200}"
)


class MaskSecrets(logging.Filter):
    def filter(self, record: logging.LogRecord) -> bool:
        record.msg = SECRET.sub(r"\1…", record.getMessage())
        record.args = None
        return True
