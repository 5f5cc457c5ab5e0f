"""The demo's store and vans: what was bought, used, counted, and what each van carries."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

from servicedesk.desk.actions.demo.world import DAYS, World
from servicedesk.dosing.models import Solution
from servicedesk.stock.models import Item, Lot, Movement, Place

PER_ML = {"Carbonate solution": ("alkalinity", 3.0), "Calcium solution": ("calcium", 38.0),
          "Magnesium solution": ("magnesium", 32.0)}  # fmt: skip
"""Strength of the house's solutions: dKH·L per mL (57 g/L of sodium carbonate), mg per mL of calcium, of magnesium."""
STORE = {"lat": 52.015, "lon": 0.52}
"""Where the invented store stands among the invented sites, in degrees."""
VAN = {"water_l": 300, "most_kg": 700, "boxes": 16}
USES = 4
"""How often in the history what was used is booked, half of it bought at the start and half on the way."""


def make(w: World) -> None:
    """Items, lots, solutions, the store and a van for each technician."""
    store = Place.objects.create(id=w.key(), name="Store at Tanner's Wharf", kind="store", **STORE)
    for person in w.technicians:
        name = f"{person.name.partition(' ')[0]}'s van"
        w.vans[person.email] = Place.objects.create(id=w.key(), name=name, kind="van", keeper=person, **VAN)
    moves: list[Movement] = []
    for row in w.raw["supplies"]:
        moves += _item(w, store, row)
    Movement.objects.bulk_create(sorted(moves, key=lambda m: m.at))
    for name, (parameter, per_ml) in PER_ML.items():
        w.solutions[parameter] = Solution.objects.create(
            id=w.key(), item=w.items[name], parameter=parameter, per_ml=per_ml
        )


def _item(w: World, store: Place, row: dict[str, Any]) -> list[Movement]:
    name, kind = row["name"], row["kind"]
    pack, left, price = float(row["pack"]), float(row["left"]), Decimal(row["price"])
    item = Item.objects.create(
        id=w.key(), name=name, kind=kind, unit=row["unit"], pack_size=pack, price_per_pack=price,
        lead_days=row["lead"], supplier="Tallowmere Supplies", shelf=row["shelf"], hazards=row["hazards"],
    )  # fmt: skip
    lot = Lot.objects.create(id=w.key(), item=item, code=f"S{w.rng.randint(100, 999)}")
    w.items[name], w.lots[name] = item, lot

    def move(place: Place, amount: float, reason: str, day: float, note: str = "") -> Movement:
        at = w.midnight(0) + timedelta(days=day, hours=17)
        return Movement(
            origin=w.key(), item=item, lot=lot, place=place, amount=amount, reason=reason, at=at, by=w.owner,
            received_at=at, note=note, price_per_pack=price if reason == "received" else None,
        )  # fmt: skip

    used = 2 * pack
    moves = [move(store, left + used / 2, "received", 0), move(store, used / 2, "received", DAYS / 2)]
    for number in range(1, USES + 1):
        moves.append(move(store, -used / USES, "used", number * 28, "Four weeks' rounds."))
    carried = float(row["van"])
    for van in w.vans.values() if carried else ():
        moves += [move(store, -carried, "moved", DAYS - 2), move(van, carried, "moved", DAYS - 2)]
    return moves
