"""Drawn pictures of tanks for the demo: our own, made from shapes, each tank another.

The same key draws the same tank; `grown` says how far its plants or corals have come, so that two pictures of one
place show what happened between."""

import io
from functools import partial
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


def _pond(key: UUID, grown: float, moment: int) -> Image.Image:
    """A pond from its bank: grass around, lily pads that grow, koi between them."""
    wide, high = SIZE
    image = Image.new("RGB", SIZE, (92, 116, 70))
    pen, rng, places = ImageDraw.Draw(image), Random(key.int), Random(key.int + 2 + moment)
    pen.ellipse((40, 50, wide - 40, high - 30), fill=(120, 112, 98))
    pen.ellipse((66, 74, wide - 66, high - 54), fill=WATER["pond"])
    for _number in range(7):
        x, y, s = places.randint(200, wide - 260), places.randint(150, high - 170), places.randint(34, 52)
        tone = places.choice(FISH)
        pen.ellipse((x, y, x + 2 * s, y + s * 0.6), fill=tone)
        pen.polygon((x + 4, y + s * 0.3, x - s * 0.6, y, x - s * 0.6, y + s * 0.6), fill=tone)
    for _number in range(16):
        x, y, r = rng.randint(130, wide - 230), rng.randint(120, high - 150), rng.randint(24, 44) * grown
        pen.pieslice((x, y, x + 2 * r, y + 1.3 * r), 20, 345, fill=rng.choice(PLANT))
    return image


def draw(water_type: str, key: UUID, *, grown: float = 1.0, moment: int = 0) -> bytes:
    """A JPEG of a tank in which something lives. `moment` moves the fish, nothing else."""
    out = io.BytesIO()
    made = _pond if water_type == "pond" else partial(_tank, water_type)
    made(key, grown, moment).save(out, "JPEG", quality=80)
    return out.getvalue()


def _tank(water_type: str, key: UUID, grown: float, moment: int) -> Image.Image:
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
    return image


def keep(body: bytes, *, folder: str, key: UUID) -> str:
    """Store a picture under a name made from the demo's own key; its name below the media root."""
    name = f"{folder}/{key.hex}.jpg"
    path = Path(settings.MEDIA_ROOT) / name
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    part.write_bytes(body)
    part.replace(path)
    return name
