"""A tile source of the business's own, as the installation names it."""

from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured

PARTS = ("{z}", "{x}", "{y}")
HERE = ("localhost", "127.0.0.1")


def tile_source(address: str) -> tuple[str, str]:
    """The address of the tiles and the one host that pages may fetch pictures from; both empty where none is named. Raises ImproperlyConfigured."""
    if not address:
        return "", ""
    found = urlsplit(address)
    sound = found.scheme == "https" or (found.scheme == "http" and found.hostname in HERE)
    if not sound or not found.hostname or found.username or any(part not in found.path for part in PARTS):
        raise ImproperlyConfigured(
            "TANKROUND_TILES is an https address with {z}, {x} and {y} in its path, as https://tiles.yours.example/{z}/{x}/{y}.png."
        )
    return address, f"{found.scheme}://{found.netloc}"
