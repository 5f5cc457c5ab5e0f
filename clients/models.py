"""Clients, their sites, tanks, animals and equipment, and the service plans sold to them."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from clients.choices import EquipmentKind, LivestockChange, SightReason, TankState, WaterType
from servicedesk.staff.models import Skill
from servicedesk.web.facts import Fact


class Client(models.Model):
    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=120)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    address = models.CharField(max_length=200, blank=True)
    internal_notes = models.TextField(blank=True)
    since = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(Lower("name"), name="client_name_once")]

    def __str__(self) -> str:
        return self.name


class Contact(models.Model):
    """A person at the client's: gets reports, and may sign in at the client's door when `user` is set. `told_of_moves`: agreed to have mail when
    the time of a visit moves."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="contacts")
    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="contact"
    )
    name = models.CharField(max_length=80)
    email = models.EmailField()
    phone = models.CharField(max_length=40, blank=True)
    gets_reports = models.BooleanField(default=True)
    told_of_moves = models.BooleanField(default=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["client", "email"], name="contact_once_per_client")]

    def __str__(self) -> str:
        return self.name


class Site(models.Model):
    """An address. `key_code` is a secret: shown on a tap, to that day's technician, each look logged."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField(max_length=120)
    address = models.CharField(max_length=200)
    town = models.CharField(max_length=80, blank=True)
    lat = models.FloatField(null=True, blank=True)
    lon = models.FloatField(null=True, blank=True)
    zone = models.CharField(max_length=60, blank=True)
    opens = models.TimeField(null=True, blank=True)
    closes = models.TimeField(null=True, blank=True)
    way_in = models.CharField(max_length=300, blank=True)
    water_and_drain = models.CharField(max_length=200, blank=True)
    on_site_phone = models.CharField(max_length=40, blank=True)
    cautions = models.JSONField(default=list, blank=True)
    key_code = models.CharField(max_length=80, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["client", "name"], name="site_name_once_per_client")]

    def __str__(self) -> str:
        return self.name


def every_day() -> list[int]:
    """All days of the week."""
    return list(range(7))


class SiteHours(models.Model):
    """When one gets in on these weekdays (Monday is 0): several rows make several windows a day. Without any the site's own hours hold, on
    every day."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="hours")
    weekdays = models.JSONField(default=every_day)
    opens = models.TimeField()
    closes = models.TimeField()
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(opens__lt=F("closes")), name="site_hours_in_order")]

    def __str__(self) -> str:
        return f"{self.opens:%H:%M}–{self.closes:%H:%M}"


class SiteClosed(models.Model):
    """Days on which nobody gets in."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="closed_days")
    from_on = models.DateField()
    until_on = models.DateField()
    why = models.CharField(max_length=100, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(from_on__lte=F("until_on")), name="site_closed_in_order")
        ]

    def __str__(self) -> str:
        return f"{self.from_on} {self.until_on}"


class KeyLook(models.Model):
    """Somebody looked at a site's key or code."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="key_looks")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.user} {self.at}"


class Tank(models.Model):
    """One body of water that is tested and dosed as one. Volumes in litres; `net_l_u` is a standard uncertainty."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="tanks")
    name = models.CharField(max_length=80)
    place = models.CharField(max_length=120)
    water_type = models.CharField(max_length=20, choices=WaterType.choices)
    gross_l = models.FloatField()
    net_l = models.FloatField()
    net_l_u = models.FloatField(default=0)
    photo = models.CharField(max_length=200, blank=True)
    since = models.DateField(null=True, blank=True)
    order = models.PositiveIntegerField(default=1)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="tank_name_once_per_site"),
            models.CheckConstraint(condition=Q(net_l__gt=0), name="tank_net_volume_above_nought"),
            models.CheckConstraint(condition=Q(gross_l__gte=F("net_l")), name="tank_gross_holds_net"),
            models.CheckConstraint(condition=Q(net_l_u__gte=0), name="tank_net_uncertainty_sound"),
        ]

    def __str__(self) -> str:
        return self.name


class TankStateRow(models.Model):
    """From a day on a tank is in a state, until an end date where one is set. No row means normal."""

    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="states")
    state = models.CharField(max_length=14, choices=TankState.choices)
    from_on = models.DateField()
    until_on = models.DateField(null=True, blank=True)
    why = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(until_on__isnull=True) | Q(until_on__gte=F("from_on")),
                name="tank_state_ends_after_start",
            ),
            models.UniqueConstraint(fields=["tank", "from_on"], name="tank_state_once_a_day"),
        ]

    def __str__(self) -> str:
        return self.state


class Livestock(models.Model):
    """Animals of one kind in a tank. `number` follows from the facts; sensitive_to lists e.g. copper, salt."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="livestock")
    name = models.CharField(max_length=80)
    species = models.CharField(max_length=80, blank=True)
    since = models.DateField(null=True, blank=True)
    source = models.CharField(max_length=120, blank=True)
    sensitive_to = models.JSONField(default=list, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["tank", "name"], name="livestock_once_per_tank")]

    def __str__(self) -> str:
        return self.name


class LivestockFact(Fact):
    """So many animals were added, died or moved out."""

    livestock = models.ForeignKey(Livestock, on_delete=models.PROTECT, related_name="facts")
    change = models.CharField(max_length=6, choices=LivestockChange.choices)
    number = models.PositiveIntegerField()
    at = models.DateTimeField()
    cause = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["origin", "part"], name="livestock_fact_once")]

    def __str__(self) -> str:
        return f"{self.change} {self.number}"


class Equipment(models.Model):
    """A thing fitted at a tank or, without a tank, at the site."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="equipment")
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, null=True, blank=True, related_name="equipment")
    kind = models.CharField(max_length=14, choices=EquipmentKind.choices)
    name = models.CharField(max_length=80)
    place = models.CharField(max_length=120, blank=True)
    fitted_on = models.DateField(null=True, blank=True)
    notes = models.CharField(max_length=300, blank=True)
    back_on_check = models.BooleanField(default=False)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "name"], name="equipment_name_once_per_site")]

    def __str__(self) -> str:
        return self.name


class ServicePlan(models.Model):
    """What was sold: a visit every so many weeks to these tanks of a site, with a tolerance in days; on a second weekday too, where it is twice a
    week. `people` have to be there at once, and each of `skills` has to be among what they can do."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="plans")
    tanks = models.ManyToManyField(Tank, related_name="plans")
    name = models.CharField(max_length=80)
    every_weeks = models.PositiveIntegerField(default=2)
    weekday = models.PositiveSmallIntegerField(default=0)
    second_weekday = models.PositiveSmallIntegerField(null=True, blank=True)
    people = models.PositiveSmallIntegerField(default=1)
    skills = models.ManyToManyField(Skill, blank=True, related_name="plans")
    tolerance_days = models.PositiveSmallIntegerField(default=1)
    minutes = models.PositiveIntegerField(default=45)
    preferred_time = models.TimeField(null=True, blank=True)
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="plans"
    )
    price = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(every_weeks__gte=1), name="plan_every_week_or_more"),
            models.CheckConstraint(condition=Q(weekday__lte=6), name="plan_weekday_known"),
            models.CheckConstraint(
                condition=Q(second_weekday__isnull=True)
                | (Q(second_weekday__lte=6) & ~Q(second_weekday=F("weekday"))),
                name="plan_second_weekday_another",
            ),
            models.CheckConstraint(condition=Q(people__gte=1, people__lte=2), name="plan_one_or_two_people"),
            models.UniqueConstraint(fields=["site", "name"], name="plan_name_once_per_site"),
        ]

    def __str__(self) -> str:
        return self.name


class PlanChange(Fact):
    """From a day on a service plan's visits fall on other weekdays or weeks, or another technician makes them: how it was and how it is
    since. What was owed before that day stays. The plan itself says how it is; `starts_on` is the day from which its weeks are counted.
    `called_off` are the visits that fell away with it."""

    plan = models.ForeignKey(ServicePlan, on_delete=models.PROTECT, related_name="changes")
    from_on = models.DateField()
    was_weekday = models.PositiveSmallIntegerField()
    was_second_weekday = models.PositiveSmallIntegerField(null=True)
    was_starts_on = models.DateField()
    was_technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    weekday = models.PositiveSmallIntegerField()
    second_weekday = models.PositiveSmallIntegerField(null=True)
    starts_on = models.DateField()
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    called_off = models.JSONField(default=list)
    at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["origin", "part"], name="plan_change_once"),
            models.CheckConstraint(condition=Q(weekday__lte=6), name="plan_change_weekday_known"),
            models.CheckConstraint(
                condition=Q(second_weekday__isnull=True)
                | (Q(second_weekday__lte=6) & ~Q(second_weekday=F("weekday"))),
                name="plan_change_second_weekday_another",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.plan_id} {self.from_on}"


class Sight(models.Model):
    """A technician may see a tank on these days, and why. Written downward by rounds and visits."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="sights")
    tank = models.ForeignKey(Tank, on_delete=models.CASCADE, related_name="sights")
    first_day = models.DateField()
    last_day = models.DateField()
    why = models.CharField(max_length=10, choices=SightReason.choices)
    cause = models.UUIDField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "tank", "cause"], name="sight_once_per_cause"),
            models.CheckConstraint(condition=Q(last_day__gte=F("first_day")), name="sight_ends_after_start"),
        ]

    def __str__(self) -> str:
        return f"{self.user} {self.tank}"
