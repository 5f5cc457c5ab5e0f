"""The business and the people who sign in."""

import uuid
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from servicedesk.staff.choices import Hand, Light, Role


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
    """The one business of this installation."""

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

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(only=True), name="one_business")]

    def __str__(self) -> str:
        return self.name
