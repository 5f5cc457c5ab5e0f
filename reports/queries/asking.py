"""What we ask of the client: what to do and not to do, and a yes or a no to what we recommend."""

from collections.abc import Callable

from django.utils.translation import gettext as _

from clients.models import Tank
from reports.queries.done import Journal
from reports.queries.shape import Question
from servicedesk.visits.choices import EntryKind

Scrub = Callable[[str], str]
MOST_TYPED = 5


def questions(journal: Journal, *, tanks: list[Tank], alone: bool, currency: str) -> list[Question]:
    """Every recommendation of the visit with its price."""
    found = []
    names = {t.pk: t.name for t in tanks}
    for entry in journal.of(EntryKind.RECOMMENDATION):
        payload = entry.payload
        key = journal.tank_key(payload)
        text = journal.scrub(payload["text"].strip())
        if not alone and key in names:
            text = f"{names[key]}: {text}"
        price = str(payload.get("price") or "").replace(",", ".")
        money = f"{float(price):.2f}".removesuffix(".00") if price else ""
        found.append(
            Question(
                text=text,
                price=f"{money} {currency}" if money else "",
                included="" if money else _("It is part of your plan."),
                key=str(entry.pk),
            )
        )
    return found


def _typed_lines(text: str, scrub: Scrub) -> list[str]:
    return [scrub(line.strip(" -•\t")) for line in text.splitlines() if line.strip(" -•\t")][:MOST_TYPED]


def please_do(fields: dict[str, str], scrub: Scrub) -> list[str]:
    usual = [
        _("Ring us if an animal, the water level or the temperature looks unlike it does today."),
        _("Keep the cabinet doors closed as we left them: the pumps need air."),
    ]
    return _typed_lines(fields.get("staff_do", ""), scrub) or usual


def please_not(fields: dict[str, str], scrub: Scrub) -> list[str]:
    usual = [
        _("Add anything to the water, tap water included."),
        _("Unplug or switch anything in the cabinet."),
        _("Reach into the water: ring us instead."),
    ]
    return _typed_lines(fields.get("staff_dont", ""), scrub) or usual
