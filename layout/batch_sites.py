"""Site files of a job: which plan each belongs to, and that no form somebody filled in is lost."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from layout.measures import nearest
from layout.rules_error import RuleError, RuleProblem
from layout.site_file import SiteFile, load_site
from layout.writers.site_form import form_name


def sites_of(plans: Sequence[Path], sites: Sequence[SiteFile]) -> Mapping[Path, SiteFile]:
    """The site file of each plan that has one.

    Raises:
        RuleError: a site file names no plan of the job, or several; two name the same.
    """
    found: dict[Path, SiteFile] = {}
    problems: list[RuleProblem] = []
    for site in sites:
        own = [p for p in plans if form_name(str(p)) == form_name(site.plan)]
        if len(own) != 1:
            problems.append(_no_plan(site, plans, len(own)))
        elif own[0] in found:
            what = f"{found[own[0]].name} has measures of {site.plan} too."
            problems.append(
                site.place.problem("SIT-205", "plan", what, "Give one site file for each drawing.")
            )
        else:
            found[own[0]] = site
    if problems:
        raise RuleError(tuple(problems))
    return found


def _no_plan(site: SiteFile, plans: Sequence[Path], count: int) -> RuleProblem:
    if count:
        what = f"{count} drawings of this job are called {site.plan}."
        return site.place.problem("SIT-204", "plan", what, "Lay them one by one.")
    names = [form_name(str(p)) for p in plans]
    near = nearest(site.plan, names) or (names[0] if len(names) == 1 else None)
    what = f"The measures are of {site.plan}, which is no drawing of this job."
    remedy = f"Did you mean {near}?" if near else "Give that drawing, or the site file of this one."
    return site.place.problem("SIT-204", "plan", what, remedy)


def filled_in(out: Path, names: Iterable[str]) -> tuple[str, ...]:
    """Of the names of forms in a folder, those that may not be written over: they hold measures, or are
    no forms of ours any more.
    """
    return tuple(n for n in names if (out / n).exists() and not _is_empty(out / n))


def _is_empty(form: Path) -> bool:
    try:
        site = load_site(form)
    except RuleError:
        return False
    return not any(bay.measures for bay in site.bays)
