"""The demo business: plainly invented. So far its people; what they look after is not there yet."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from servicedesk.staff import actions as staff

PASSWORD = "three snails on a pane"


@dataclass(frozen=True)
class DemoResult:
    """What the demo prints: sign-ins as (role, name, address, password), and one instrument's token."""

    sign_ins: list[tuple[str, str, str, str]]
    token: str


@transaction.atomic
def load(*, now: datetime, seed: int = 1, say: Callable[[str], object] = print) -> DemoResult:
    """Load the demo business into an empty database."""
    business = {"name": "Sluicegate Aquaria", "emergency_phone": "0555 0199", "zone": "Europe/London"}
    owner = staff.set_up(
        business=business,
        name="Petra Vane",
        email="petra@sluicegate.invalid",
        password=PASSWORD,
        on=now.date(),
    )
    say("The business is there: its owner alone so far.")
    return DemoResult(sign_ins=[(owner.role, owner.name, owner.email, PASSWORD)], token="")
