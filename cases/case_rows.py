"""The rows of one case, all that its page shows, read by queries that stand written.

`fetch` leaves the case as a prefetch would: `case.documents.all()` and its like answer with what
was read. Kinds of rows that few cases have are followed further only where there are any.
"""

from typing import Any

from django.db.models import Model, prefetch_related_objects

from cases import holds, selectors
from cases.models import Case
from chain_of_custody.models import CustodyEntry, Paper, Placement
from crematory.models import Facility
from crematory.written import Part, Written


def _of_case(label: str, table: str, order: str = "r.id") -> Written:
    text = f"SELECT {{r}} FROM {table} r WHERE r.case_id = %s ORDER BY {order}"  # noqa: S608
    return Written(text, r=Part(label))


_KINDS = {
    "right_holders": _of_case("cases.RightHolder", "cases_rightholder"),
    "ranks_named": _of_case("cases.RankNamed", "cases_ranknamed"),
    "authority_reviews": _of_case("cases.AuthorityReview", "cases_authorityreview"),
    "wait_grounds": _of_case("cases.WaitGround", "cases_waitground"),
    "recipients": _of_case("cases.Recipient", "cases_recipient"),
    "device_answers": _of_case("cases.DeviceAnswer", "cases_deviceanswer"),
    "things": _of_case("cases.PersonalThing", "cases_personalthing"),
    "things_looked_for": _of_case(
        "cases.ThingsLookedFor", "cases_thingslookedfor", "r.looked_at, r.id"
    ),
    "holds": _of_case("cases.Hold", "cases_hold", "r.opened_at"),
}
# Of which kinds there are any: most cases have rows of few. And how many files wait to be filed.
_ANY = Written(
    "SELECT"
    " EXISTS (SELECT 1 FROM cases_rightholder r WHERE r.case_id = %s),"
    " EXISTS (SELECT 1 FROM cases_ranknamed r WHERE r.case_id = %s),"
    " EXISTS (SELECT 1 FROM cases_authorityreview r WHERE r.case_id = %s),"
    " EXISTS (SELECT 1 FROM cases_waitground r WHERE r.case_id = %s),"
    " EXISTS (SELECT 1 FROM cases_recipient r WHERE r.case_id = %s),"
    " EXISTS (SELECT 1 FROM cases_deviceanswer r WHERE r.case_id = %s),"
    " EXISTS (SELECT 1 FROM cases_personalthing r WHERE r.case_id = %s),"
    " EXISTS (SELECT 1 FROM cases_thingslookedfor r WHERE r.case_id = %s),"
    " EXISTS (SELECT 1 FROM cases_hold r WHERE r.case_id = %s),"
    " (SELECT COUNT(*) FROM chain_of_custody_upload u WHERE u.case_id = %s"
    " AND u.purpose = 'paper'"
    " AND NOT EXISTS (SELECT 1 FROM cases_document d WHERE d.upload_id = u.id)"
    " AND NOT EXISTS (SELECT 1 FROM cases_documentsheet s WHERE s.upload_id = u.id)"
    " AND NOT EXISTS (SELECT 1 FROM chain_of_custody_uploadsetaside a WHERE a.upload_id = u.id))"
)
_DOCUMENTS = Written(
    "SELECT {r}, {u} FROM cases_document r"
    " LEFT JOIN chain_of_custody_upload u ON u.id = r.upload_id"
    " WHERE r.case_id = %s ORDER BY r.filed_at, r.id",
    r=Part("cases.Document"),
    u=Part("chain_of_custody.Upload", "token"),
)
_FACTS = Written(
    "SELECT {f} FROM cases_holderfacts f JOIN cases_rightholder h ON h.id = f.holder_id"
    " WHERE h.case_id = %s ORDER BY f.id",
    f=Part("cases.HolderFacts"),
)
_STATEMENTS = Written(
    "SELECT {a} FROM cases_authorizingagent a JOIN cases_rightholder h ON h.id = a.holder_id"
    " WHERE h.case_id = %s ORDER BY a.id",
    a=Part("cases.AuthorizingAgent"),
)
_STEPS = Written(
    "SELECT {e}, {s}, {w} FROM chain_of_custody_custodyentry e"
    " LEFT JOIN crematory_staffmember s ON s.id = e.signed_by_id"
    " LEFT JOIN crematory_staffmember w ON w.id = e.witness_id"
    " WHERE e.case_id = %s AND e.stage_to <> ''",
    e=Part("chain_of_custody.CustodyEntry", "act", "happened_at", "signed_by", "witness"),
    s=Part("crematory.StaffMember", "printed_name"),
    w=Part("crematory.StaffMember", "printed_name"),
)
_PLACEMENT = Written(
    "SELECT {s}, {p} FROM chain_of_custody_placement s"
    " JOIN chain_of_custody_place p ON p.id = s.place_id"
    " WHERE s.case_id = %s AND s.until IS NULL",
    s=Part("chain_of_custody.Placement"),
    p=Part("chain_of_custody.Place"),
)
_PRINTED = Written(
    "SELECT {r}, r.facts ->> 'by_hand', CASE WHEN EXISTS (SELECT 1"
    " FROM chain_of_custody_papersuperseded s WHERE s.paper_id = r.id) THEN 1 ELSE 0 END"
    " FROM chain_of_custody_paper r WHERE r.case_id = %s ORDER BY r.printed_at DESC, r.id DESC",
    r=Part("chain_of_custody.Paper", "kind", "number", "copy", "printed_at"),
)


_CASE = Written(
    "SELECT {c}, {d}, {x}, {y}, {j} FROM cases_case c"
    " LEFT JOIN cases_iddisc d ON d.case_id = c.id"
    " LEFT JOIN cases_discreplaced x ON x.case_id = c.id"
    " LEFT JOIN cases_delivery y ON y.case_id = c.id"
    " LEFT JOIN cases_rulesversion j ON j.id = c.judged_under_id"
    " WHERE c.facility_id = %s AND c.number = %s",
    c=Part("cases.Case"),
    d=Part("cases.IdDisc"),
    x=Part("cases.DiscReplaced", "found", "old_number"),
    y=Part("cases.Delivery"),
    j=Part("cases.RulesVersion"),
)


class Rows(list[Any]):
    """What a prefetch leaves: rows that are at hand. Asking for others of them fails loudly."""

    def all(self) -> "Rows":
        """Return the rows."""
        return self


def case_of(facility: Facility, number: str) -> Case:
    """Return the facility's case with its discs and delivery; raise Http404 with advice."""
    wanted = selectors.number_or_404(number)
    for case, disc, replaced, delivery, rules in _CASE(facility.pk, wanted):
        case.facility = facility
        case.judged_under = rules
        stated = {"disc": disc, "disc_replaced": replaced, "delivery": delivery}
        for name, row in stated.items():
            case._state.fields_cache[name] = row
            if row is not None:
                row.case = case
        found: Case = case
        return found
    raise selectors.not_known(wanted)


def fetch(case: Case) -> int:
    """Read what gates and page look at; the case then answers for it without the database.

    Return how many files came in as papers and wait to be filed.
    """
    *found, waiting = _ANY(*[case.pk] * (len(_KINDS) + 1))[0]
    for (name, written), is_any in zip(_KINDS.items(), found, strict=True):
        rows = [row for (row,) in written(case.pk)] if is_any else []
        for row in rows:
            row.case = case
        _known(case, name, rows)
    documents = []
    for document, upload in _DOCUMENTS(case.pk):
        document.case, document.upload = case, upload
        documents.append(document)
    _known(case, "documents", documents)
    if case.right_holders.all():
        _fetch_said(case)
    if case.things.all():
        prefetch_related_objects(list(case.things.all()), "returned")
    if case.holds.all():
        prefetch_related_objects([case], *holds.FETCHED)
    return int(waiting)


def _fetch_said(case: Case) -> None:
    """What is known of the right-holders, and what each said."""
    holders = {holder.pk: holder for holder in case.right_holders.all()}
    facts: dict[int, list[Any]] = {key: [] for key in holders}
    for (row,) in _FACTS(case.pk):
        row.holder, row.delegated_to = holders[row.holder_id], holders.get(row.delegated_to_id)
        facts[row.holder_id].append(row)
    statements: dict[int, list[Any]] = {key: [] for key in holders}
    for (row,) in _STATEMENTS(case.pk):
        row.holder = holders[row.holder_id]
        row.signed_by_delegate = holders.get(row.signed_by_delegate_id)
        statements[row.holder_id].append(row)
    for key, holder in holders.items():
        _known(holder, "facts", facts[key])
        _known(holder, "statements", statements[key])


def _known(owner: Model, name: str, rows: list[Any]) -> None:
    """Leave the rows where a prefetch leaves them; `all()` of a relation looks there first."""
    vars(owner).setdefault("_prefetched_objects_cache", {})[name] = Rows(rows)


def without(case: Case, name: str) -> None:
    """Leave word that the case has no rows of this kind: a page has seen it."""
    _known(case, name, [])


def steps_taken(case: Case) -> dict[str, CustodyEntry]:
    """Return the entries of the steps that were taken, by verb, with who signed."""
    found = {}
    for entry, signer, witness in _STEPS(case.pk):
        entry.signed_by, entry.witness = signer, witness
        found[entry.act] = entry
    return found


def placement_now(case: Case) -> Placement | None:
    """Return where the person is now, or None."""
    for placement, place in _PLACEMENT(case.pk):
        placement.place = place
        found: Placement = placement
        return found
    return None


def printed(case: Case) -> list[tuple[Paper, bool, bool]]:
    """Return the papers that were printed, newest first: by hand? superseded?"""
    return [(paper, bool(by_hand), bool(old)) for paper, by_hand, old in _PRINTED(case.pk)]
