"""Access details stay off every paper and out of every mail."""

import re
from collections.abc import Callable

Scrub = Callable[[str], str]
SHORTEST_SECRET = 3
HIDDEN = "•••"


def without_code(key_code: str) -> Scrub:
    """Takes a site's key code out of whatever somebody typed, with other gaps, dashes or letters' case, too. A number that merely
    holds the code, such as a value, stays."""
    secret = key_code.strip()
    signs = [re.escape(sign) for sign in secret if not (sign.isspace() or sign in "-–")]
    if len(signs) < SHORTEST_SECRET:
        return lambda text: text
    code = re.compile(r"(?<![\d.,])" + r"[\s\-–]*".join(signs) + r"(?!\d|[.,]\d)", re.IGNORECASE)
    return lambda text: code.sub(HIDDEN, text)
