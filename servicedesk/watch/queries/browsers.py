"""Browsers in which people have alarms shown."""

import hashlib
from collections import Counter
from uuid import UUID

from django.db.models import QuerySet

from servicedesk.dispatch.models import Message
from servicedesk.dispatch.queries import refusal_words
from servicedesk.staff.models import User
from servicedesk.watch.models import OwnBrowser


def browsers_for(user: User) -> QuerySet[OwnBrowser]:
    """One's own, also those that were ended from outside, until one takes them from the list."""
    rows = OwnBrowser.objects.filter(person=user, off_at__isnull=True).select_related("subscription")
    return rows.order_by("subscription__made_at", "pk")


def get_browser_for(user: User, key: UUID) -> OwnBrowser | None:
    return browsers_for(user).filter(pk=key).first()


def browsers_told_of(user: User, severity: int) -> QuerySet[OwnBrowser]:
    """Those of a person's that show alarms of that severity."""
    return browsers_for(user).filter(told_of__gte=severity, subscription__gone_at__isnull=True)


def browsers_in_use() -> list[tuple[str, int]]:
    """By name: who has alarms shown, and in how many browsers."""
    rows = OwnBrowser.objects.filter(
        off_at__isnull=True, subscription__gone_at__isnull=True, person__is_active=True
    )
    return sorted(Counter(rows.values_list("person__name", flat=True)).items())


def mark_of(row: OwnBrowser) -> str:
    """By which a browser knows that a line is its own, without its address standing on the page: the first eight octets of SHA-256."""
    return hashlib.sha256(row.subscription.endpoint.encode()).hexdigest()[:16]


def last_refusal(row: OwnBrowser) -> str:
    """Why the newest message has not come there yet, in words; empty where it has."""
    last = Message.objects.filter(subscription=row.subscription_id).order_by("-made_at", "pk").first()
    return refusal_words(last.error) if last is not None and last.sent_at is None else ""
