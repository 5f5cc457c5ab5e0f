"""Forms of the office: own data of every kind, a tank's bands, worksheets."""

from servicedesk.desk.forms.kinds import KINDS, LABELS, Kind
from servicedesk.desk.forms.own import BAND_WORDS, BandsForm, form_of
from servicedesk.desk.forms.worksheet import WorksheetForm

__all__ = ["BAND_WORDS", "KINDS", "LABELS", "BandsForm", "Kind", "WorksheetForm", "form_of"]
