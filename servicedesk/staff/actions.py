"""People join, change and leave; the business says who it is."""

import hashlib
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.contrib.sessions.models import Session
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils.http import urlsafe_base64_encode
from django.utils.translation import gettext as _

from servicedesk.dispatch import actions as dispatch
from servicedesk.dispatch.models import Message
from servicedesk.staff.choices import Hand, Light, Role
from servicedesk.staff.models import Business, User


class NotHired(Exception):
    """A person cannot be added or changed like that; the sentence says why."""


@transaction.atomic
def set_up(*, business: dict[str, Any], name: str, email: str, password: str, on: date) -> User:
    """The first owner and the business, only while nobody is there. Raises NotHired."""
    if User.objects.exists():
        raise NotHired(_("This installation has its owner already. Sign in instead."))
    save_business(**business)
    return User.objects.create_user(
        email=email, name=name, role=Role.OWNER, password=password, zone=business["zone"], joined_on=on
    )


@transaction.atomic
def save_business(**columns: Any) -> Business:
    """Say who the business is. Everybody's times are shown in its zone."""
    row, _made = Business.objects.update_or_create(only=True, defaults=columns)
    if "zone" in columns:
        User.objects.exclude(zone=row.zone).update(zone=row.zone)
    return row


@transaction.atomic
def hire(*, name: str, email: str, role: str, password: str | None, on: date, phone: str = "") -> User:
    """Add a person who may sign in. Raises NotHired when the address is taken."""
    zone = Business.objects.values_list("zone", flat=True).first() or "Europe/London"
    try:
        with transaction.atomic():
            return User.objects.create_user(
                email=email, name=name, role=role, password=password, phone=phone, zone=zone, joined_on=on
            )
    except IntegrityError:
        raise NotHired(_("Somebody already signs in with %(email)s.") % {"email": email}) from None


@transaction.atomic
def change_person(*, person: User, name: str, email: str, phone: str, role: str) -> User:
    """Change what is known of a person. The last owner stays owner."""
    if person.role == Role.OWNER and role != Role.OWNER:
        _not_last_owner(person)
    try:
        with transaction.atomic():
            User.objects.filter(pk=person.pk).update(name=name, email=email.lower(), phone=phone, role=role)
    except IntegrityError:
        raise NotHired(_("Somebody already signs in with %(email)s.") % {"email": email}) from None
    person.refresh_from_db()
    return person


def _not_last_owner(person: User) -> None:
    if not User.objects.filter(role=Role.OWNER, is_active=True).exclude(pk=person.pk).exists():
        raise NotHired(_("Somebody must own the business: this is its last owner."))


def end_sessions(*, person: User) -> int:
    """Sign a person out everywhere; how many sessions ended."""
    mine = [
        s.pk
        for s in Session.objects.all().iterator()
        if s.get_decoded().get("_auth_user_id") == str(person.pk)
    ]
    Session.objects.filter(pk__in=mine).delete()
    return len(mine)


@transaction.atomic
def retire_person(*, person: User) -> None:
    """A person leaves: cannot sign in any more, is signed out everywhere, and stays in the records."""
    if person.role == Role.OWNER:
        _not_last_owner(person)
    User.objects.filter(pk=person.pk).update(is_active=False)
    end_sessions(person=person)


@transaction.atomic
def bring_back_person(*, person: User) -> None:
    """A person comes back."""
    User.objects.filter(pk=person.pk).update(is_active=True)


class NotChanged(Exception):
    """A password is not changed; the sentence says why."""


@transaction.atomic
def change_own_password(*, person: User, current: str, new: str) -> None:
    """A person who knows the password takes a new one; every other session of theirs ends with it. Raises
    NotChanged."""
    if not person.check_password(current):
        raise NotChanged(_("This is not your password now."))
    set_password(person=person, password=new)


@transaction.atomic
def set_password(*, person: User, password: str) -> None:
    """A new password: sessions and links that were made with the old one open nothing any more."""
    person.set_password(password)
    person.save(update_fields=["password"])


@transaction.atomic
def ask_for_link(*, email: str, at: datetime) -> None:
    """Somebody forgot a password. The same is written for a known and an unknown address, once in five minutes; who
    it is, if anybody, is looked up later, where nobody can take the time."""
    address = email.strip().lower()
    sign = hashlib.sha256(address.encode()).hexdigest()[:24]
    key = f"password link {sign} {int(at.timestamp()) // 300}"
    dispatch.ask(kind="password_link", key=key, args={"email": address}, at=at)


@transaction.atomic
def send_link(*, person: User, at: datetime) -> Message:
    """Mail a person a link that sets a new password: once, within 24 hours, and only while the old password and the
    address stand (Django's signed token). One a minute at most."""
    if not person.is_active:
        raise NotChanged(_("%(name)s does not sign in here any more.") % {"name": person.name})
    uid = urlsafe_base64_encode(str(person.pk).encode())
    address = reverse("staff:new_password", args=[uid, default_token_generator.make_token(person)])
    words = {"name": person.name, "link": settings.BASE_URL.rstrip("/") + address}
    text = _(
        "Hello %(name)s,\n\nwith this link you choose a new password. It works once, for 24 hours:\n\n%(link)s\n\n"
        "If you did not ask for it, leave it: your password stays as it is.\n"
    )
    return dispatch.post(
        key=f"password link {person.pk} {at:%Y-%m-%d %H:%M}",
        recipient=person.email,
        subject=_("Choose a new password"),
        text=text % words,
        at=at,
    )


@transaction.atomic
def let_in_again(*, person: User, password: str | None) -> None:
    """A person who was shut out comes back with a new password."""
    person.set_password(password)
    person.is_active = True
    person.save(update_fields=["password", "is_active"])


@transaction.atomic
def prefer(*, person: User, light: str | None = None, hand: str | None = None) -> None:
    """How a person likes the screen; an unknown choice changes nothing."""
    if light is not None:
        value = "" if light == "device" else light
        if value in Light.values:
            User.objects.filter(pk=person.pk).update(light=value)
    if hand in Hand.values:
        User.objects.filter(pk=person.pk).update(hand=hand)


@transaction.atomic
def cautions_seen(*, person: User, on: date) -> None:
    """The person acknowledged today's cautions."""
    User.objects.filter(pk=person.pk).update(cautions_seen_on=on)
