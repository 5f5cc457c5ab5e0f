"""Keeping the business's own data: new rows with what belongs to them, changes, retirement."""

from datetime import date, datetime, time
from typing import Any
from uuid import uuid4

from django.db import IntegrityError, transaction
from django.db.models import Model
from django.utils import timezone
from django.utils.translation import gettext as _

from clients.actions import record_livestock
from clients.choices import LivestockChange
from clients.models import Contact, Livestock, ServicePlan, Tank
from servicedesk.desk.choices import SENTENCES
from servicedesk.dispatch.actions import ask
from servicedesk.instruments.actions import NotRelayed, check_relay
from servicedesk.instruments.models import Instrument
from servicedesk.rounds.actions import follow_plan
from servicedesk.staff import actions as staff
from servicedesk.staff.models import User
from servicedesk.upkeep.models import TaskRule
from servicedesk.water import actions as water
from servicedesk.water.models import Band
from servicedesk.web.zones import day_of


class NotKept(Exception):
    """It cannot be kept like that; the sentence says why."""


def _against(law: str) -> str:
    """The sentence of the constraint that the database names; forms say it first, but two may save at once."""
    said = next((str(sentence) for name, (_field, sentence) in SENTENCES.items() if name in law), "")
    return said or _("It contradicts what is there already: the same name twice, or numbers that do not fit.")


FOLLOWS: dict[type[Model], tuple[str, ...]] = {
    ServicePlan: ("owe_visits",),
    Tank: ("make_tasks",),
    TaskRule: ("make_tasks",),
}
"""Work that need not wait for the night: what is planned and owed follows what was kept."""


@transaction.atomic
def keep(*, row: Model, values: dict[str, Any], at: datetime, by: User) -> Model:
    """Keep a new or changed row. A new tank gets the bands of its water type and the tests that can be made; new
    animals come with their number."""
    new = row._state.adding
    many = {f.name for f in row._meta.many_to_many}
    for name, value in values.items():
        if name not in many:
            setattr(row, name, value)
    if isinstance(row, Instrument):
        _fits_its_relay(row)
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as wrong:
        raise NotKept(_against(str(wrong))) from wrong
    if isinstance(row, Contact) and row.user is not None:
        _sign_in_follows(row, row.user)
    if isinstance(row, Band):
        water.touch(tank=row.tank, at=at)
    for name in many & set(values):
        getattr(row, name).set(values[name])
    if new and isinstance(row, Tank):
        water.set_default_bands(tank=row)
        water.set_default_tests(tank=row)
        water.touch(tank=row, at=at)
    if new and isinstance(row, Livestock):
        _first_animals(row, values["number"], at=at, by=by)
    if isinstance(row, ServicePlan) and not new:
        follow_plan(plan=row, by=by, today=day_of(at), at=at)
    for kind in FOLLOWS.get(type(row), ()):
        ask(kind=kind, key=f"{kind}:{row.pk}:{at.isoformat()}", args={}, at=at)
    return row


def _fits_its_relay(row: Instrument) -> None:
    try:
        check_relay(row)
    except NotRelayed as wrong:
        raise NotKept(str(wrong)) from wrong


def _first_animals(animals: Livestock, number: int, *, at: datetime, by: User) -> None:
    """Those that are there from the start, at noon of the day since when they are."""
    when = at
    if animals.since is not None:
        when = min(at, datetime.combine(animals.since, time(12), tzinfo=timezone.get_current_timezone()))
    record_livestock(
        livestock=animals,
        change=LivestockChange.ADDED,
        number=number,
        at=when,
        by=by,
        origin=uuid4(),
        received_at=at,
    )


@transaction.atomic
def keep_bands(*, tank: Tank, wanted: dict[str, tuple[str, dict[str, float | None]]], at: datetime) -> None:
    """Keep what was changed of a tank's bands: by parameter the unit shown and the changed limits, canonical units.
    Then the tank is judged anew."""
    for parameter, (unit, limits) in wanted.items():
        if not Band.objects.filter(tank=tank, parameter=parameter).update(**limits):
            Band.objects.create(tank=tank, parameter=parameter, unit=unit, **limits)
    if wanted:
        water.touch(tank=tank, at=at)


def _sign_in_follows(contact: Contact, user: User) -> None:
    """Who a contact is at the door is what stands on the contact."""
    try:
        staff.change_person(
            person=user, name=contact.name, email=contact.email, phone=contact.phone, role=user.role
        )
    except staff.NotHired as wrong:
        raise NotKept(str(wrong)) from wrong


def end_column(row: Model) -> str:
    """The column that takes a row out of use; nothing for kinds that do not retire."""
    return next((c for c in ("retired_on", "ends_on", "until_on") if hasattr(row, c)), "")


@transaction.atomic
def retire(*, row: Model, at: datetime, by: User) -> bool:
    """Take a row out of use, or back into it. Nothing is deleted; the visits of a plan follow it. False when this kind does not retire."""
    column = end_column(row)
    if not column:
        return False
    ended, on = getattr(row, column), day_of(at)
    value = on if ended is None or ended > on else None
    type(row)._default_manager.filter(pk=row.pk).update(**{column: value})
    if isinstance(row, ServicePlan):
        follow_plan(plan=row, by=by, today=on, at=at)
        ask(kind="owe_visits", key=f"owe_visits:{row.pk}:{at.isoformat()}", args={}, at=at)
    return True


@transaction.atomic
def let_sign_in(*, contact: Contact, password: str | None, on: date, at: datetime) -> User:
    """Give a contact a sign-in for the client's door; without a password a link to choose one goes by mail."""
    user = contact.user
    if user is not None and user.is_active:
        raise NotKept(_("This contact signs in already."))
    if user is None:
        user = staff.hire(name=contact.name, email=contact.email, role="client", password=password, on=on)
        Contact.objects.filter(pk=contact.pk).update(user=user)
    else:
        staff.let_in_again(person=user, password=password)
    if password is None:
        staff.send_link(person=user, at=at)
    return user


@transaction.atomic
def shut_out(*, contact: Contact) -> None:
    """A contact's sign-in ends at once, everywhere; the contact stays and may still get reports by mail."""
    if contact.user is not None:
        staff.retire_person(person=contact.user)
