"""The terms of the law that press, without reckoning the clocks of every case.

By one rule, whoever died or was received first runs out first. So the database gives, rule by
rule, the few cases with the earliest moment, and only of those the clocks are reckoned, in the
one place that knows how (`case_clocks`). Where a rule counts from another moment, or a case stands
under another law than its house, all are reckoned (`overview.pressing`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache

from cases import case_clocks, law, overview
from cases.case_clocks import LIMITS, RECEIVED, SOON, Shown
from cases.law import Jurisdiction
from cases.law.rules import HoldingLimit
from cases.models import Case, Delivery
from cases.overview_sql import GROUP_LIMIT, ROW
from cases.steps import BEFORE_CHARGE
from crematory.models import Facility
from crematory.written import Part, Written, moment

NOT_COOLED = ("expected",)  # later on the person lies in a cooler bay
# A term in days ends with a local day: so much sooner than the same hours at most.
DAY_MARGIN = timedelta(hours=26)


@dataclass(frozen=True)
class Term:
    """For whom a rule sets a term: how long, from when, at which stages.

    `in_days`: it ends with a local day, so that an earlier moment need not run out earlier.
    """

    span: timedelta
    is_from_receipt: bool
    stages: tuple[str, ...]
    spares_embalmed: bool
    in_days: bool = False

    @property
    def before(self) -> timedelta:
        """How long before now the moment lies, at the least, where the term presses."""
        return self.span - SOON - (DAY_MARGIN if self.in_days else timedelta(0))


def terms(rules: Jurisdiction) -> list[Term] | None:
    """Return the terms of a law before the charge; None where one counts from another moment."""
    found = [
        Term(
            timedelta(hours=rule.after_hours),
            rule.starts == "custody",
            NOT_COOLED,
            "embalmed" in rule.unless,
        )
        for rule in rules.holdings
        if rule.is_enforced and rule.after_hours is not None
    ]
    for limit in rules.holding_limits:
        if not limit.is_enforced or limit.what not in LIMITS:
            continue
        starts = "custody" if limit.what == "refrigerated" else limit.starts
        if starts is None:
            continue  # counted from when it begins, which is not recorded
        if starts not in ("death", *RECEIVED):
            return None
        found.append(_limit(limit, starts != "death"))
    return found


def _limit(limit: HoldingLimit, is_from_receipt: bool) -> Term:
    hours, days = limit.within_hours or 0, limit.within_days or 0
    return Term(
        timedelta(hours=hours) if hours else timedelta(days=days),
        is_from_receipt,
        NOT_COOLED if "refrigerated" in limit.unless else BEFORE_CHARGE,
        "embalmed" in limit.unless,
        in_days=not hours,
    )


def pressing(
    facility: Facility, cases: Iterable[overview.Open], now: datetime
) -> list[tuple[Case, Shown]]:
    """Return the terms of the law that run out within a day, or have run out, soonest first.

    `cases` are the facility's open ones.
    """
    own = facility.jurisdiction
    found = terms(law.tightened(own, facility.added_rules))
    if found is None or {case.jurisdiction for case in cases} - {own}:
        return overview.pressing(facility, now)
    first = {case.pk: case for term in found for case in _first(term, facility, now)}
    return case_clocks.pressing(first.values(), now)[:GROUP_LIMIT]


def _first(term: Term, facility: Facility, now: datetime) -> list[Case]:
    """Return the cases for which the term presses, at least all that Today could show."""
    rows = _query(term.is_from_receipt, len(term.stages), term.spares_embalmed, term.in_days)(
        facility.pk, facility.jurisdiction, *term.stages, now - term.before
    )
    for case, delivery, received in rows:
        case.facility = facility
        # Where nobody has received the person, nothing is known of embalming.
        (delivery or Delivery()).case = case
        case.received_at = received and moment(received)
    return [case for case, *_ in rows]


@lru_cache
def _query(is_from_receipt: bool, stages: int, spares_embalmed: bool, in_days: bool) -> Written:
    start = "e.happened_at" if is_from_receipt else "c.died_at"
    parts = (
        "SELECT {c}, {d}, e.happened_at FROM cases_case c",
        "LEFT JOIN cases_delivery d ON d.case_id = c.id",
        "LEFT JOIN chain_of_custody_custodyentry e",
        "ON e.case_id = c.id AND e.act = 'receive' AND e.outcome = 'done'",
        "WHERE NOT (c.stage IN ('released', 'returned'))",
        "AND c.facility_id = %s AND c.jurisdiction = %s",
        f"AND c.stage IN ({', '.join(['%s'] * stages)}) AND {start} < %s",
        "AND (d.is_embalmed IS NULL OR NOT d.is_embalmed)" if spares_embalmed else "",
        f"ORDER BY {start}, c.id",
        "" if in_days else f"LIMIT {GROUP_LIMIT}",
    )
    return Written(
        " ".join(parts),
        c=Part("cases.Case", *ROW, "jurisdiction"),
        d=Part("cases.Delivery", "is_embalmed", "case"),
    )
