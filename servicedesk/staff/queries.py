"""The business and its people."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import QuerySet

from servicedesk.staff.choices import Role
from servicedesk.staff.models import Business, Skill, User
from servicedesk.web.memo import once
from servicedesk.web.prepared import prepared


def business() -> Business:
    """The business of this installation; an unnamed one while nobody has set it up."""
    return once("business", Business.objects.first) or Business(name="Tankround")


def business_zone() -> ZoneInfo:
    """The zone in which the business counts its days; that of the settings while nobody has set it up."""
    row = once("business", Business.objects.first)
    return ZoneInfo(row.zone if row else settings.BUSINESS_ZONE)


def day_of(at: datetime) -> date:
    """The business's day in which a moment falls."""
    return at.astimezone(business_zone()).date()


def is_empty() -> bool:
    """Whether nobody can sign in yet."""
    return not User.objects.exists()


@prepared()
def _technicians() -> QuerySet[User]:
    return User.objects.filter(role=Role.TECHNICIAN, is_active=True).order_by("name", "pk")


def technicians() -> list[User]:
    return _technicians()


def people() -> list[User]:
    """Everybody of the business, those who left last."""
    roles = [Role.OWNER, Role.OFFICE, Role.TECHNICIAN]
    return list(
        User.objects.filter(role__in=roles).order_by("-is_active", "name", "pk").select_related("working")
    )


def skills_in_use() -> list[Skill]:
    """What not everybody may or can do, with those who can."""
    return list(
        Skill.objects.filter(retired_on__isnull=True).prefetch_related("held_by__person").order_by("name")
    )
