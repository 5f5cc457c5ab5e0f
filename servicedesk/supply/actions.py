"""Working out what runs empty when, and reminding the owner to order, once per supply and day."""

from datetime import date, datetime

from django.db import transaction

from servicedesk.dispatch.actions import post
from servicedesk.staff.choices import Role
from servicedesk.staff.models import User
from servicedesk.supply.models import Reminder, RunOut
from servicedesk.supply.queries import Need, predicted


@transaction.atomic
def work_out(*, at: datetime) -> int:
    """Write down anew what runs empty when; how many containers and bottles there are."""
    rows = [
        RunOut(
            pk=e.key, tank=e.tank, item=e.item, what=e.what, empty_on=e.empty_on, fill=e.fill, worked_at=at
        )
        for e in predicted(at=at)
    ]
    names = ["tank", "item", "what", "empty_on", "fill", "worked_at"]
    RunOut.objects.bulk_create(rows, update_conflicts=True, unique_fields=["id"], update_fields=names)
    RunOut.objects.exclude(pk__in=[row.pk for row in rows]).delete()
    return len(rows)


@transaction.atomic
def remind(*, needs: list[Need], day: date, at: datetime) -> int:
    """Keep a reminder per supply and mail the list to the owners, once a day; how many supplies are new today. What
    the store still holds is not ordered."""
    new, needs = 0, [n for n in needs if not n.at_hand]
    for need in needs:
        _row, made = Reminder.objects.get_or_create(
            item=need.item,
            day=day,
            defaults={"empty_on": need.empty_on, "order_by": need.order_by, "why": need.why, "made_at": at},
        )
        new += made
    if not needs:
        return 0
    lines = [
        f"- {n.item.name} for {n.what}: {n.why}{' It is late already: order today.' if n.late else ''}"
        for n in needs
    ]
    text = "To order:\n\n" + "\n".join(lines) + "\n"
    for owner in User.objects.filter(role=Role.OWNER, is_active=True).order_by("pk"):
        post(
            key=f"reorder:{day.isoformat()}:{owner.pk}",
            recipient=owner.email,
            subject=f"To order: {len({n.item.pk for n in needs})} supplies",
            text=text,
            at=at,
        )
    return new
