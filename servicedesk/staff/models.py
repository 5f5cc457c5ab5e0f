"""The business and the people who sign in."""

import uuid
from datetime import time
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from servicedesk.staff.choices import Hand, Light, Role, StartsAt


class UserManager(BaseUserManager["User"]):
    def create_user(
        self, *, email: str, name: str, role: str, password: str | None = None, **rest: Any
    ) -> "User":
        user = self.model(email=self.normalize_email(email).lower(), name=name, role=role, **rest)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> "User":
        return self.get(email=(username or "").lower())


class User(AbstractBaseUser):
    """A person who signs in by mail address. `zone` is the IANA name in which times are shown."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=80)
    phone = models.CharField(max_length=40, blank=True)
    role = models.CharField(max_length=12, choices=Role.choices)
    zone = models.CharField(max_length=60, default="Europe/London")
    light = models.CharField(max_length=8, choices=Light.choices, default=Light.DEVICE, blank=True)
    hand = models.CharField(max_length=6, choices=Hand.choices, default=Hand.RIGHT)
    is_active = models.BooleanField(default=True)
    joined_on = models.DateField(null=True, blank=True)
    cautions_seen_on = models.DateField(null=True, blank=True)

    objects = UserManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("email"), name="user_email_once"),
            models.CheckConstraint(condition=Q(role__in=Role.values), name="user_role_known"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_owner(self) -> bool:
        return self.role == Role.OWNER

    @property
    def is_office(self) -> bool:
        """Owner or office: may see every client."""
        return self.role in (Role.OWNER, Role.OFFICE)

    @property
    def is_technician(self) -> bool:
        return self.role == Role.TECHNICIAN

    @property
    def is_client(self) -> bool:
        return self.role == Role.CLIENT


class Business(models.Model):
    """The one business of this installation. `country` and `region` (ISO 3166-1 and the end of its ISO 3166-2 code) say whose public
    holidays it keeps; without them none."""

    only = models.BooleanField(primary_key=True, default=True, editable=False)
    name = models.CharField(max_length=120)
    address = models.CharField(max_length=200, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    emergency_phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    zone = models.CharField(max_length=60, default="Europe/London")
    currency = models.CharField(max_length=3, default="EUR")
    day_starts = models.TimeField(default="08:00")
    day_ends = models.TimeField(default="17:00")
    country = models.CharField(max_length=2, blank=True)
    region = models.CharField(max_length=6, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(only=True), name="one_business")]

    def __str__(self) -> str:
        return self.name


class Skill(models.Model):
    """Something that not everybody may or can do: an electrician's card, fish in isolation, a boat."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=60)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(Lower("name"), name="skill_name_once")]

    def __str__(self) -> str:
        return self.name


def workdays() -> list[int]:
    """Monday to Friday."""
    return [0, 1, 2, 3, 4]


class Working(models.Model):
    """How a technician works, as planning reckons with it: days (Monday is 0), the shift in the business's zone, lunch of so many minutes that
    begins between two times, the most overtime a day and its price an hour, where the day begins and ends, what they can do. A home is
    where its two numbers say; without them the day begins at the store."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    person = models.OneToOneField(User, on_delete=models.CASCADE, related_name="working")
    weekdays = models.JSONField(default=workdays)
    shift_begins = models.TimeField(default=time(8, 0))
    shift_ends = models.TimeField(default=time(17, 0))
    lunch_minutes = models.PositiveSmallIntegerField(default=30)
    lunch_from = models.TimeField(default=time(11, 30))
    lunch_until = models.TimeField(default=time(13, 30))
    overtime_minutes = models.PositiveSmallIntegerField(default=0)
    overtime_price = models.DecimalField(max_digits=7, decimal_places=2, null=True, blank=True)
    begins_at = models.CharField(max_length=5, choices=StartsAt.choices, default=StartsAt.HOME)
    ends_at = models.CharField(max_length=5, choices=StartsAt.choices, default=StartsAt.HOME)
    home_lat = models.FloatField(null=True, blank=True)
    home_lon = models.FloatField(null=True, blank=True)
    skills = models.ManyToManyField(Skill, blank=True, related_name="held_by")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(shift_begins__lt=F("shift_ends")), name="working_shift_in_order"
            ),
            models.CheckConstraint(
                condition=Q(lunch_minutes=0) | Q(lunch_from__lte=F("lunch_until")),
                name="working_lunch_in_order",
            ),
            models.CheckConstraint(condition=Q(lunch_minutes__lte=180), name="working_lunch_three_hours"),
            models.CheckConstraint(
                condition=Q(overtime_minutes__lte=480), name="working_overtime_eight_hours"
            ),
            models.CheckConstraint(
                condition=Q(home_lat__isnull=True, home_lon__isnull=True)
                | Q(
                    home_lat__isnull=False,
                    home_lon__isnull=False,
                    home_lat__range=(-90, 90),
                    home_lon__range=(-180, 180),
                ),
                name="working_home_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}"
