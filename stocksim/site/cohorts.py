"""Every cohort of a site, those that grading makes included, and the events in the order they happen."""

from __future__ import annotations

from stocksim.site.fish_tables import CohortTable, Event, GradeEvent
from stocksim.site.model import SiteFile


def events_in_order(file: SiteFile) -> list[tuple[int, Event]]:
    """Events by date, each with its number in the file; those of one date in the order written."""
    return sorted(enumerate(file.events, 1), key=lambda item: item[1].date)


def all_cohorts(file: SiteFile) -> dict[str, CohortTable]:
    """Cohorts by name: those of the file, then those that grading makes, each as its parent's table.

    A cohort made by grading has no fish until then; its tank is the one it goes to and its ``stocked`` the date.
    """
    cohorts = dict(file.cohorts)
    for _, event in events_in_order(file):
        if isinstance(event, GradeEvent) and event.cohort in cohorts and event.into not in cohorts:
            changed = {"tank": event.tank, "count": 0, "stocked": event.date}
            cohorts[event.into] = cohorts[event.cohort].model_copy(update=changed)
    return cohorts


def roots(file: SiteFile) -> dict[str, str]:
    """The file's cohort that each cohort's fish came from, by name."""
    found = {name: name for name in file.cohorts}
    for _, event in events_in_order(file):
        if isinstance(event, GradeEvent) and event.cohort in found:
            found.setdefault(event.into, found[event.cohort])
    return found
