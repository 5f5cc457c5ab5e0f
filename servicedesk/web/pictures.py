"""Pictures that people hand in: checked before they are decoded, written anew without any metadata, under a random name."""

import io
import secrets
import warnings
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import IO

from django.conf import settings
from django.http import FileResponse, Http404
from django.utils.translation import gettext as _
from PIL import Image, ImageOps

MOST_BYTES = 15 * 1024 * 1024
MOST_PIXELS = 40_000_000
LONGEST_SIDE = 1600
TAKEN_AS = ["JPEG", "PNG", "WEBP"]
BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
"""By which a HEIF file with HEVC pictures names itself (ISO/IEC 23008-12, in the box of ISO/IEC 14496-12)."""
EXIF_IFD, TIME_TAKEN, OFFSET_TAKEN = 0x8769, 0x9003, 0x9011
"""Exif IFD pointer, DateTimeOriginal and OffsetTimeOriginal (CIPA DC-008, Exif 2.32)."""


class NoPhoto(Exception):
    """This file is not taken as a photo; the sentence says why."""


def body_of(file: IO[bytes]) -> bytes:
    """The bytes of a file, which are at most 15 MB. Raises NoPhoto."""
    body = file.read(MOST_BYTES + 1)
    if len(body) > MOST_BYTES:
        raise NoPhoto(_("The photo is larger than 15 MB. Take a smaller one."))
    return body


def _opened(body: bytes) -> Image.Image:
    with warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        return Image.open(io.BytesIO(body), formats=TAKEN_AS)


def rewritten(file: IO[bytes], *, longest: int = LONGEST_SIDE) -> tuple[bytes, int, int]:
    """The photo as a new JPEG of at most `longest` px with no metadata, its width and height. Raises NoPhoto."""
    body = body_of(file)
    if body[4:8] == b"ftyp" and body[8:12] in BRANDS:
        raise NoPhoto(_("This is a HEIC photo, which cannot be read here. Send it as JPEG."))
    try:
        image = _opened(body)
        if image.width * image.height > MOST_PIXELS:
            raise NoPhoto(_("The photo has more than 40 megapixels. Take a smaller one."))
        image.draft("RGB", (longest, longest))
        image.load()
    except NoPhoto:
        raise
    except Exception as wrong:  # noqa: BLE001  a decoder may raise anything on a broken or hostile file
        raise NoPhoto(_("This is not a JPEG, PNG or WebP photo that can be read.")) from wrong
    upright = ImageOps.exif_transpose(image).convert("RGB")
    upright.thumbnail((longest, longest))
    plain = Image.new("RGB", upright.size)
    plain.paste(upright)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=82)
    return out.getvalue(), plain.width, plain.height


def camera_time(body: bytes, *, zone: tzinfo) -> datetime | None:
    """When the camera's own clock says that a photo was taken, aware UTC; where it names no offset it is read as in `zone`. None where it
    says nothing that can be read."""
    try:
        told = _opened(body).getexif().get_ifd(EXIF_IFD)
        taken = datetime.strptime(str(told[TIME_TAKEN]).strip("\x00 "), "%Y:%m:%d %H:%M:%S")
        offset = str(told.get(OFFSET_TAKEN, "")).strip("\x00 ")
        own = datetime.strptime(offset, "%z").tzinfo if offset else zone
        return taken.replace(tzinfo=own).astimezone(UTC)
    except Exception:  # noqa: BLE001  what stands in a file's metadata may be anything
        return None


def store(body: bytes, *, folder: str) -> str:
    """Write bytes under a random name below the media root; the name relative to it."""
    name = f"{folder}/{secrets.token_hex(16)}.jpg"
    path = Path(settings.MEDIA_ROOT) / name
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(body)
    part.replace(path)
    return name


def unstore(name: str) -> None:
    """Remove a file that no row came to name."""
    (Path(settings.MEDIA_ROOT) / name).unlink(missing_ok=True)


def served(name: str) -> FileResponse:
    """A stored picture as an answer; a missing one, or a name outside the media root, is Http404."""
    root = Path(settings.MEDIA_ROOT).resolve()
    path = (root / name).resolve()
    if not path.is_relative_to(root) or not path.is_file():
        raise Http404
    response = FileResponse(path.open("rb"), content_type="image/jpeg")
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Disposition"] = "inline; filename=photo.jpg"
    return response
