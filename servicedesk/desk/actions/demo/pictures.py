"""Drawn pictures of tanks for the demo: our own, made from shapes, each tank another."""

import io
from random import Random

from PIL import Image, ImageDraw

from servicedesk.visits.actions.photos import store

WATER = {"reef": (28, 66, 60), "marine": (24, 58, 78), "brackish": (70, 74, 52), "pond": (48, 66, 52)}
CORAL = [(204, 116, 104), (216, 170, 92), (150, 176, 120), (182, 160, 204), (208, 128, 150)]
PLANT = [(84, 132, 76), (104, 150, 84), (66, 112, 84)]


def _water(water_type: str) -> tuple[int, int, int]:
    return next((colour for name, colour in WATER.items() if water_type.startswith(name)), (40, 72, 58))


def draw(water_type: str, rng: Random, *, size: tuple[int, int] = (960, 600)) -> bytes:
    """A JPEG of a tank in which something lives."""
    wide, high = size
    image = Image.new("RGB", size, (18, 28, 26))
    pen = ImageDraw.Draw(image)
    pen.rectangle((40, 40, wide - 40, high - 40), fill=_water(water_type))
    pen.rectangle((40, 40, wide - 40, 74), fill=tuple(min(255, c + 46) for c in _water(water_type)))
    floor = high - 90
    for _number in range(7):
        x, r = rng.randint(80, wide - 200), rng.randint(60, 130)
        tone = rng.randint(78, 116)
        pen.pieslice((x, floor - r, x + 2 * r, floor + r), 180, 360, fill=(tone, tone - 14, tone - 26))
    reef = water_type.startswith("reef")
    for _number in range(22):
        x, tall = rng.randint(70, wide - 90), rng.randint(40, 170)
        colour = rng.choice(CORAL if reef else PLANT)
        for lean in (-16, -5, 6, 17):
            pen.line((x, floor, x + lean, floor - tall), fill=colour, width=9 if reef else 5)
    pen.rectangle((40, floor, wide - 40, high - 40), fill=(206, 192, 156))
    for _number in range(rng.randint(4, 9)):
        x, y, s = rng.randint(90, wide - 120), rng.randint(110, floor - 90), rng.randint(12, 26)
        colour = rng.choice([(236, 190, 76), (226, 120, 62), (150, 190, 214), (220, 220, 210)])
        pen.ellipse((x, y, x + 2 * s, y + s), fill=colour)
        pen.polygon((x, y + s / 2, x - s * 0.7, y, x - s * 0.7, y + s), fill=colour)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=80)
    return out.getvalue()


def keep(water_type: str, rng: Random) -> str:
    """Draw and store; the name below the media root."""
    return store(draw(water_type, rng), folder="tanks")
