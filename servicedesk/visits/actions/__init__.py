"""What changes a visit: journal entries and photos. Forms and tablets end in the same two verbs."""

from servicedesk.visits.actions.journal import take_entries
from servicedesk.visits.actions.photos import keep_photo
from servicedesk.web.pictures import NoPhoto

__all__ = ["NoPhoto", "keep_photo", "take_entries"]
