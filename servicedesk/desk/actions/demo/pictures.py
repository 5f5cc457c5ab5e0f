"""Drawn pictures of tanks for the demo: our own, made from shapes, each tank another.

The same key draws the same tank; `grown` says how far its plants or corals have come, so that two pictures of one
place show what happened between."""

import io
from pathlib import Path
from random import Random
from uuid import UUID

from django.conf import settings
from PIL import Image, ImageDraw

SIZE = (800, 500)
EDGE, GLASS, BED = 34, 62, 76
WATER = {"reef": (28, 66, 60), "marine": (24, 58, 78), "brackish": (70, 74, 52), "pond": (48, 66, 52)}
CORAL = [(204, 116, 104), (216, 170, 92), (150, 176, 120), (182, 160, 204), (208, 128, 150)]
PLANT = [(84, 132, 76), (104, 150, 84), (66, 112, 84)]
FISH = [(236, 190, 76), (226, 120, 62), (150, 190, 214), (220, 220, 210)]


def _water(water_type: str) -> tuple[int, int, int]:
    return next((colour for name, colour in WATER.items() if water_type.startswith(name)), (40, 72, 58))


def _scape(pen: ImageDraw.ImageDraw, rng: Random, reef: bool, grown: float) -> None:
    """Rocks, and what grows between them."""
    wide, high = SIZE
    floor = high - BED
    for _number in range(7):
        x, r = rng.randint(70, wide - 170), rng.randint(50, 108)
        tone = rng.randint(78, 116)
        pen.pieslice((x, floor - r, x + 2 * r, floor + r), 180, 360, fill=(tone, tone - 14, tone - 26))
    for _number in range(22):
        x, tall = rng.randint(60, wide - 76), rng.randint(34, 140) * grown
        colour = rng.choice(CORAL if reef else PLANT)
        for lean in (-14, -5, 5, 14):
            pen.line((x, floor, x + lean * grown, floor - tall), fill=colour, width=8 if reef else 4)
    pen.rectangle((EDGE, floor, wide - EDGE, high - EDGE), fill=(206, 192, 156))


def draw(water_type: str, key: UUID, *, grown: float = 1.0, moment: int = 0) -> bytes:
    """A JPEG of a tank in which something lives. `moment` moves the fish, nothing else."""
    wide, high = SIZE
    colour = _water(water_type)
    image = Image.new("RGB", SIZE, (18, 28, 26))
    pen = ImageDraw.Draw(image)
    pen.rectangle((EDGE, EDGE, wide - EDGE, high - EDGE), fill=colour)
    pen.rectangle((EDGE, EDGE, wide - EDGE, GLASS), fill=tuple(min(255, c + 46) for c in colour))
    _scape(pen, Random(key.int), water_type.startswith("reef"), grown)
    kinds, places = Random(key.int + 1), Random(key.int + 2 + moment)
    for _number in range(kinds.randint(4, 9)):
        s, tone = kinds.randint(10, 22), kinds.choice(FISH)
        x, y = places.randint(76, wide - 100), places.randint(92, high - BED - 76)
        pen.ellipse((x, y, x + 2 * s, y + s), fill=tone)
        pen.polygon((x, y + s / 2, x - s * 0.7, y, x - s * 0.7, y + s), fill=tone)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=80)
    return out.getvalue()


def keep(body: bytes, *, folder: str, key: UUID) -> str:
    """Store a picture under a name made from the demo's own key; its name below the media root."""
    name = f"{folder}/{key.hex}.jpg"
    path = Path(settings.MEDIA_ROOT) / name
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(body)
    part.replace(path)
    return name
