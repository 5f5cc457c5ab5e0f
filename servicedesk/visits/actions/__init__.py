"""What changes a visit: journal entries and photos. Forms and tablets end in the same two verbs."""

from servicedesk.visits.actions.journal import take_entries
from servicedesk.visits.actions.photos import NoPhoto, keep_photo

__all__ = ["NoPhoto", "keep_photo", "take_entries"]
