"""The business and its people."""

from itertools import count

from servicedesk.staff.models import Business, User

NUMBER = count(1)
PASSWORD = "grey heron over lock 7"


def make_business(**given: object) -> Business:
    rest = {"name": "Lockgate Tank Care", "emergency_phone": "0555 0100", "zone": "Europe/London", **given}
    return Business.objects.update_or_create(only=True, defaults=rest)[0]


def make_user(role: str, **given: object) -> User:
    number = next(NUMBER)
    rest = {"email": f"{role}{number}@example.org", "name": f"{role.title()} {number}", **given}
    return User.objects.create_user(role=role, password=PASSWORD, **rest)


def make_owner(**given: object) -> User:
    return make_user("owner", **given)


def make_technician(**given: object) -> User:
    return make_user("technician", **given)


def make_client_user(**given: object) -> User:
    return make_user("client", **given)
