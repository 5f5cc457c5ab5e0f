"""Saying the same in fewer lines: what several tanks share is said once, and what had to be left out is named."""

from dataclasses import replace

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from reports.queries import words
from reports.queries.shape import Question, ReportContent, TankBlock

ELLIPSIS = "…"
MOST_NAMED = 3
MOST_LINES, MOST_LINES_EACH = 9, 5
"""So many lines tell what was done on a single tank, and on each of several."""


def grouped(rows: list[tuple[str, list[str]]], *, rare_first: bool = False) -> list[tuple[str, str]]:
    """Lines of several tanks with whose they are, each line once; what most share stands first, or last."""
    whose: dict[str, list[str]] = {}
    for name, lines in rows:
        for line in lines:
            whose.setdefault(line, []).append(name)
    order = sorted(whose.items(), key=lambda item: len(item[1]) * (1 if rare_first else -1))
    return [(line, _who(names, [name for name, _lines in rows])) for line, names in order]


def _who(names: list[str], everybody: list[str]) -> str:
    if len(names) == len(everybody) > 1:
        return _("All %(n)s tanks") % {"n": len(everybody)}
    missing = [name for name in everybody if name not in names]
    if len(names) > MOST_NAMED and len(missing) <= MOST_NAMED:
        return _("All but %(names)s") % {"names": words.listed(missing)}
    return words.listed(names)


def clipped(text: str, letters: int) -> str:
    """A text cut between two words; the mark says that it goes on."""
    if not letters or len(text) <= letters:
        return text
    kept = text[:letters].rsplit(" ", 1)[0] if " " in text[:letters] else text[:letters]
    return kept.rstrip(" ,.;:") + ELLIPSIS


def listed_short(lines: list[str], most: int, letters: int) -> list[str]:
    """A list of at most so many lines; the last one counts what it leaves out."""
    if most and len(lines) > most:
        rest = len(lines) - most + 1
        more = ngettext("and %(n)s more", "and %(n)s more", rest) % {"n": rest}
        lines = [*lines[: most - 1], more]
    return [clipped(line, letters) for line in lines]


def tasks_cut(content: ReportContent) -> ReportContent:
    """What was done, on paper, in a column's length; the page of the report tells the rest."""
    most = MOST_LINES if len(content.tanks) == 1 else MOST_LINES_EACH
    return replace(content, tanks=[replace(block, did=_done(block.did, most)) for block in content.tanks])


def _done(lines: list[str], most: int) -> list[str]:
    if len(lines) <= most:
        return lines
    rest = len(lines) - most + 1
    more = ngettext(
        "and %(n)s more small task, told on your page", "and %(n)s more small tasks, told on your page", rest
    )
    return [*lines[: most - 1], more % {"n": rest}]


def shortened(content: ReportContent, *, most: int, letters: int) -> ReportContent:
    """The content with at most so many lines in a list and so many letters in a text."""
    if not most and not letters:
        return content
    return replace(
        content,
        title=clipped(content.title, letters),
        sentence=clipped(content.sentence, letters * 2),
        client=clipped(content.client, letters),
        address=clipped(content.address, letters),
        tanks=[_tank(block, most, letters) for block in content.tanks],
        please_do=listed_short(content.please_do, most, letters),
        please_not=listed_short(content.please_not, most, letters),
        answered=listed_short(content.answered, most, letters),
        questions=_questions(content.questions, most, letters),
    )


def _tank(block: TankBlock, most: int, letters: int) -> TankBlock:
    return replace(
        block,
        place=clipped(block.place, min(letters, 60)),
        sentence=clipped(block.sentence, letters),
        changed=listed_short(block.changed, min(most, 4), letters),
        did=listed_short(block.did, most, letters),
        did_not=listed_short(block.did_not, most, letters),
        animals=listed_short(block.animals, most, letters),
    )


def _questions(questions: list[Question], most: int, letters: int) -> list[Question]:
    return [replace(q, text=clipped(q.text, letters)) for q in questions[: max(most // 2, 2)]]
