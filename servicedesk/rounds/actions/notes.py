"""A word for whoever comes next, or for the office."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from clients.models import Site
from servicedesk.rounds.models import SiteNote
from servicedesk.staff.models import User

LONGEST = 500


class NotNoted(Exception):
    """A note that cannot be kept; the sentence says why."""


@transaction.atomic
def write_note(*, site: Site, text: str, for_office: bool, by: User, origin: UUID, at: datetime) -> SiteNote:
    """Keep a note on a site. The same drawn form twice is one note."""
    text = text.strip()
    if not text:
        raise NotNoted(_("Write what the next one must know."))
    if len(text) > LONGEST:
        raise NotNoted(_("Keep it under %(n)s letters.") % {"n": LONGEST})
    given = {"site": site, "text": text, "for_office": for_office, "by": by, "at": at, "received_at": at}
    row, made = SiteNote.objects.get_or_create(origin=origin, part=0, defaults=given)
    if not made and (row.by_id, row.site_id, row.text) != (by.pk, site.pk, text):
        raise NotNoted(_("This form was already sent. Open the page again to write another note."))
    return row
