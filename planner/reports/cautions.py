"""The short caution beside work with a product. The long form stands in the rules file, and once on a page."""

from __future__ import annotations

from collections.abc import Iterable

from planner.reports.rows import Report
from planner.reports.sentences import BESIDE_A_SPRAY
from planner.terms import LABEL_CAUTION


def short_caution(report: Report, job: str) -> str:
    """One line for a job: for one that a label binds, for another spray, or empty for work without a product."""
    for row in report.ribbons:
        if row.job == job:
            if row.has_label:
                return LABEL_CAUTION
            return BESIDE_A_SPRAY if row.kind == "spraying" else ""
    return ""


def shared_caution(report: Report, jobs: Iterable[str]) -> str:
    """The gravest of the short cautions of several jobs, for a list that says it once; empty where none has one."""
    found = {short_caution(report, job) for job in jobs}
    return LABEL_CAUTION if LABEL_CAUTION in found else BESIDE_A_SPRAY if BESIDE_A_SPRAY in found else ""
