"""Reports: what they say, how they are drawn, who may see them."""

from reports.queries.access import (
    get_paper_for,
    get_report_for,
    get_visit_for,
    job_of,
    messages_of,
    papers_for,
    reports_for,
)
from reports.queries.answers import News, answers_for
from reports.queries.changes import changes_between
from reports.queries.gather import content_of
from reports.queries.shape import ReportContent, as_json, from_json

__all__ = [
    "News",
    "ReportContent",
    "answers_for",
    "as_json",
    "changes_between",
    "content_of",
    "from_json",
    "get_paper_for",
    "get_report_for",
    "get_visit_for",
    "job_of",
    "messages_of",
    "papers_for",
    "reports_for",
]
