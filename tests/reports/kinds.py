"""Kinds of visits as they come in a year, each closed and ready to be told."""

from collections.abc import Callable
from datetime import timedelta

from clients.models import Tank, TankStateRow
from servicedesk.upkeep.actions import raise_task
from servicedesk.visits.models import Visit
from tests.factories.reported import STEADY, VISIT_AT, add_photo, history, make_reef, past_visit
from tests.factories.tanks import make_channel, make_equipment, make_livestock, make_solution
from tests.factories.visited import Journey
from tests.reports.conftest import Scene

PLACES = (
    "the bar", "the lobby", "the breakfast room", "the library", "the stairs", "the spa", "the wine cellar",
    "the conference hall", "the children’s corner", "the roof garden", "the director’s office", "the gallery",
)  # fmt: skip


def place_of(number: int) -> str:
    floor, place = divmod(number, len(PLACES))
    return f"{PLACES[place]} of floor {floor}" if floor else PLACES[place]


def task(tank: Tank, key: str, title: str) -> str:
    day = VISIT_AT.date()
    made = raise_task(
        tank=tank, key=key, title=title, why="", earliest=day, due=day, latest=day, minutes=5, at=VISIT_AT
    )
    return str(made.pk)


def short(scene: Scene) -> Visit:
    """One test, a photo, nothing else; the visit before had a full round."""
    history(scene.tank, technician=scene.technician)
    journey = scene.journey()
    journey.read(scene.tank, "temperature", "25.2")
    add_photo(journey, scene.tank)
    return journey.close()


def bare(scene: Scene) -> Visit:
    """Nothing tested, no photo, no history."""
    past_visit(scene.tank, technician=scene.technician, days=14, values={})
    return scene.journey().close()


def usual(scene: Scene) -> Visit:
    """A normal fortnight: five tests, a water change, tasks, a photo."""
    history(scene.tank, technician=scene.technician)
    journey = scene.tested()
    add_photo(journey, scene.tank)
    journey.write("water_change", tank=str(scene.tank.pk), litres="60")
    for number, title in enumerate(("Skimmer cup and neck", "Glass cleaned", "Filter floss"), 1):
        journey.write("task_done", task=task(scene.tank, f"work{number}", title))
    return journey.close()


def full(scene: Scene) -> Visit:
    """Everything at once: dosing, tasks done and left, a finding, equipment off, questions, the technician's own words."""
    history(scene.tank, technician=scene.technician)
    journey = scene.tested(alkalinity="6.9", nitrate="14")
    add_photo(journey, scene.tank)
    tank = str(scene.tank.pk)
    channel = str(make_channel(scene.tank).pk)
    journey.write("dose", tank=tank, solution=str(make_solution().pk), ml="40")
    journey.write("rate", channel=channel, ml_per_day="34", why="worn")
    journey.write("pump_check", channel=channel, asked_ml="34", before_ml="28", after_ml="34.1")
    journey.write("refill", channel=channel, ml_now="1000")
    journey.write("water_change", tank=tank, litres="80")
    for number in range(1, 13):
        journey.write(
            "task_done",
            task=task(scene.tank, f"done{number}", f"Piece of work number {number} of the season"),
        )
    for number in range(1, 6):
        journey.write(
            "task_left",
            task=task(scene.tank, f"left{number}", f"Work left number {number}"),
            reason="no_part",
        )
    lamp = make_equipment(scene.tank, name="UV lamp", kind="uv", back_on_check=True)
    pump = make_equipment(scene.tank, name="return pump", kind="return_pump", back_on_check=True)
    journey.write(
        "back_on",
        tank=tank,
        on=[str(pump.pk)],
        left=[{"equipment": str(lamp.pk), "reason": "the sleeve is cracked"}],
    )
    journey.write(
        "finding", tank=tank, text="The large colony at the left edge has lost colour on its shaded side."
    )
    journey.write(
        "recommendation", text="A second return pump, so that one can fail without harm.", price="240"
    )
    journey.write("recommendation", text="Monthly carbon instead of every second month.")
    journey.write(
        "field",
        name="staff_do",
        value="Feed one cube a day\nKeep the lid shut\nSwitch the room light off at ten\nKeep the doors shut",
    )
    journey.write("next_visit", date="2026-12-02")
    return journey.close()


def death(scene: Scene) -> Visit:
    scene.before()
    journey = scene.tested()
    fish = make_livestock(scene.tank, name="yellow wrasse")
    journey.write("livestock", livestock=str(fish.pk), change="died", number=2, cause="They had jumped out.")
    add_photo(journey, scene.tank)
    return journey.close()


def alarm(scene: Scene) -> Visit:
    history(scene.tank, technician=scene.technician)
    journey = scene.tested(alkalinity="5.9")
    journey.write(
        "finding", tank=str(scene.tank.pk), text="The sump is losing water at its left seam.", alarm=True
    )
    return journey.close()


def isolation(scene: Scene) -> Visit:
    scene.before()
    TankStateRow.objects.create(
        tank=scene.tank,
        state="isolation",
        from_on=VISIT_AT.date() - timedelta(days=3),
        until_on=VISIT_AT.date() + timedelta(days=20),
    )
    return scene.tested().close()


def many(number: int) -> Callable[[Scene], Visit]:
    """So many tanks at one site, each with tests, a water change, tasks, one left, and a photo."""

    def visit(scene: Scene) -> Visit:
        reefs = [scene.tank]
        reefs += [
            make_reef(
                scene.site,
                name=f"The reef in {place_of(n)}",
                order=n + 1,
                place="left of the door",
            )
            for n in range(number - 1)
        ]
        history(*reefs, technician=scene.technician)
        journey = scene.journey(*reefs)
        for index, reef in enumerate(reefs):
            _full_round(journey, reef, index)
        journey.write(
            "recommendation", text="A second return pump for the bar.", price="240", tank=str(reefs[0].pk)
        )
        return journey.close()

    return visit


def _full_round(journey: Journey, reef: Tank, index: int) -> None:
    tank = str(reef.pk)
    for parameter, value in {**STEADY, "alkalinity": "6.9" if index % 2 else "7.8", "nitrate": "14"}.items():
        journey.read(reef, parameter, value)
    journey.write("water_change", tank=tank, litres="80")
    for number in range(3):
        journey.write(
            "task_done", task=task(reef, f"d{number}", ("Skimmer cup", "Glass", "Filter floss")[number])
        )
    journey.write("task_left", task=task(reef, "left", "Overflow and back-siphon test"), reason="no_time")
    add_photo(journey, reef)


def wordy(scene: Scene) -> Visit:
    """Long names and long texts wherever a person can type."""
    history(scene.tank, technician=scene.technician)
    Tank.objects.filter(pk=scene.tank.pk).update(
        name="The very long display with the great coral wall behind the east reception desk",
        place="first floor, past the lifts, second door on the right behind the glass",
    )
    scene.tank.refresh_from_db()
    type(scene.site).objects.filter(pk=scene.site.pk).update(
        name="The Grand Quayside Residence and Conference Centre, East Wing"
    )
    text = "The large colony at the left edge has lost colour on its shaded side, and we moved the pump a hand’s width. "
    journey = scene.tested(nitrate="14")
    for _time in range(4):
        journey.write("finding", tank=str(scene.tank.pk), text=text * 4)
    for number in range(8):
        journey.write("task_done", task=task(scene.tank, f"w{number}", f"{number + 1}. " + text[:95]))
    for number in range(6):
        journey.write(
            "task_left", task=task(scene.tank, f"l{number}", f"{number + 1}. " + text[:90]), reason=text[:100]
        )
    journey.write("recommendation", text=text * 5, price="1240.50")
    journey.write("recommendation", text=text * 5, price="88")
    for name in ("staff_do", "staff_dont"):
        journey.write("field", name=name, value="\n".join([text] * 5))
    journey.write("field", name="summary", value=text * 3)
    add_photo(journey, scene.tank)
    return journey.close()


KINDS: dict[str, Callable[[Scene], Visit]] = {
    "short": short, "bare": bare, "usual": usual, "full": full, "death": death, "alarm": alarm,
    "isolation": isolation, "two": many(2), "three": many(3), "five": many(5), "twelve": many(12), "wordy": wordy,
}  # fmt: skip
