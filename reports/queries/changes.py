"""What a later version of a report says that the earlier one did not."""

from django.utils.translation import gettext as _

from reports.choices import Verdict
from reports.queries.shape import Level, ReportContent, TankBlock


def changes_between(before: ReportContent, now: ReportContent) -> list[str]:
    """Sentences on what differs, for the reader of the earlier version. Empty when the reader would see no change."""
    lines = []
    if before.verdict != now.verdict:
        said = {"before": Verdict(before.verdict).label, "now": Verdict(now.verdict).label}
        lines.append(_("The verdict was “%(before)s” and is “%(now)s”.") % said)
    old = {block.tank: block for block in before.tanks}
    for block in now.tanks:
        head = "" if len(now.tanks) == 1 else f"{block.name}: "
        if block.tank not in old:
            lines.append(_("Added: the tank %(name)s.") % {"name": block.name})
        else:
            lines += [head + line for line in _tank_changes(old[block.tank], block)]
    lines += _listed(_("Please do"), before.please_do, now.please_do)
    lines += _listed(_("Please do not"), before.please_not, now.please_not)
    lines += _listed(
        _("A question to you"), [q.text for q in before.questions], [q.text for q in now.questions]
    )
    if before.next_visit != now.next_visit:
        day = now.next_visit.day or _("not planned yet")
        lines.append(_("The next visit: %(day)s.") % {"day": day})
    if before.sentence != now.sentence and before.verdict == now.verdict and not lines:
        lines.append(_("The first sentence was written anew."))
    return lines


def _tank_changes(before: TankBlock, now: TankBlock) -> list[str]:
    lines = _level_changes(before.levels, now.levels)
    lines += _listed(_("What changed"), before.changed, now.changed)
    lines += _listed(_("What we did"), before.did, now.did)
    lines += _listed(_("What we did not do"), before.did_not, now.did_not)
    lines += _listed(_("Animals"), before.animals, now.animals)
    if before.pictures != now.pictures:
        lines.append(_("The photos are new."))
    return lines


def _level_changes(before: list[Level], now: list[Level]) -> list[str]:
    old = {level.parameter: level for level in before}
    lines = []
    for level in now:
        was = old.get(level.parameter)
        said = {"name": level.name, "now": level.value_text}
        if was is None:
            lines.append(_("%(name)s is told too: %(now)s.") % said)
        elif was.value_text != level.value_text:
            lines.append(
                _("%(name)s was given as %(before)s; it is %(now)s.") % {**said, "before": was.value_text}
            )
    return lines


def _listed(head: str, before: list[str], now: list[str]) -> list[str]:
    added = [text for text in now if text not in before]
    gone = [text for text in before if text not in now]
    lines = [_("%(head)s, added: %(text)s") % {"head": head, "text": text} for text in added]
    return lines + [_("%(head)s, no longer: %(text)s") % {"head": head, "text": text} for text in gone]
