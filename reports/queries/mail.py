"""The mail that carries a report: plain text first, then the same in one column of HTML."""

from dataclasses import dataclass

from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from reports.choices import Verdict
from reports.queries.shape import ReportContent


@dataclass(frozen=True)
class Letter:
    subject: str
    text: str
    html: str


def letter_of(content: ReportContent, *, link: str, changes: list[str], version: int) -> Letter:
    """Subject is the verdict and the tank. `link` opens the report behind a sign-in."""
    word = str(Verdict(content.verdict).label)
    subject = _("%(word)s: %(title)s") % {"word": word, "title": _lowered(content.title)}
    if version > 1 and changes:
        subject = _("%(subject)s (version %(version)s)") % {"subject": subject, "version": version}
    context = {"c": content, "word": word, "link": link, "changes": changes, "version": version}
    return Letter(
        subject=" ".join(subject.split())[:200],
        text=render_to_string("reports/mail.txt", context),
        html=render_to_string("reports/mail.html", context),
    )


def _lowered(title: str) -> str:
    """“The long reef” reads “the long reef” behind a colon; other names keep their letters."""
    return title[0].lower() + title[1:] if title.startswith(("The ", "A ")) else title
