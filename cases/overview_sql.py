"""What Today, the machines and the places ask of the database, written out.

`cases/overview.py` makes of these rows what the pages show. The texts hold to what SQLite and
PostgreSQL have in common; tests compare their answers with those of the framework's queries.
"""

from functools import lru_cache

from crematory.written import Part, Written

# Of each group as many as fit a tablet's screen beside the others; the list has them all.
GROUP_LIMIT = 5
HOLD_LIMIT = 20
DIED = ("died_at", "died_at_latest", "died_known_as")
ROW = ("number", "decedent_name", "born_on", *DIED, "stage", "stage_since")

# Whoever is open, longest at their stage first. The stages stand as the partial index `case_open`
# has them, whose order this is: a database uses it only where the query says the same.
OPEN = Written(
    "SELECT c.id, c.stage, c.jurisdiction,"
    " EXISTS (SELECT 1 FROM cases_hold h WHERE h.case_id = c.id AND h.lifted_at IS NULL)"
    " FROM cases_case c WHERE NOT (c.stage IN ('released', 'returned')) AND c.facility_id = %s"
    " ORDER BY c.stage_since, c.id"
)


@lru_cache
def lines(count: int) -> Written:
    """Return the query of this many cases by their keys: of each what one line of a page needs."""
    parts = (
        "SELECT c.id, c.number, c.decedent_name, c.born_on, c.died_at, c.died_at_latest,",
        "c.died_known_as, c.stage_since FROM cases_case c WHERE c.id IN (",
        ", ".join(["%s"] * count),
        ")",
    )
    return Written(" ".join(parts))


# Found by the staff who opened them, who are few, and not by the cases, who are many: only
# members of a facility open holds on its cases.
HOLDS = Written(
    "SELECT {h}, {c}, {s} FROM cases_hold h"
    " JOIN crematory_staffmember s ON s.id = h.opened_by_id JOIN cases_case c ON c.id = h.case_id"
    " WHERE s.facility_id = %s AND h.lifted_at IS NULL"
    " ORDER BY h.opened_at, h.id LIMIT %s",
    h=Part("cases.Hold", "case", "opened_by", "kind", "raised_by", "ground", "opened_at",
           "lifted_at"),
    c=Part("cases.Case", *ROW, "sender"),
    s=Part("crematory.StaffMember", "printed_name"),
)  # fmt: skip

# Each retort with its open run and who lies in it, and its newest reading that counts: one whose
# newest correction does not withdraw it. The last columns say whether that was ever corrected, and
# what else there is to be asked for: events, a controller, what recorders wrote, holds.
_MACHINES = (
    "SELECT {r}, {p}, {t}, {u}, {c}, {d}, {g}, {h},"
    " EXISTS (SELECT 1 FROM retort_log_readingcorrection k WHERE k.reading_id = g.id),"
    " EXISTS (SELECT 1 FROM retort_log_runevent e WHERE e.retort_id = r.id AND e.at >= %s)"
    " OR EXISTS (SELECT 1 FROM retort_log_runevent e WHERE e.run_id = u.id),"
    " EXISTS (SELECT 1 FROM retort_log_controller o WHERE o.retort_id = r.id),"
    " EXISTS (SELECT 1 FROM retort_log_livesample l WHERE l.retort_id = r.id)"
    " OR EXISTS (SELECT 1 FROM retort_log_readingblock b WHERE b.retort_id = r.id),"
    " EXISTS (SELECT 1 FROM cases_hold q WHERE q.case_id = c.id)"
    " FROM retort_log_retort r"
    " JOIN chain_of_custody_place p ON p.id = r.place_id"
    " JOIN retort_log_permittooperate t ON t.id = r.permit_id"
    " LEFT JOIN retort_log_run u ON u.retort_id = r.id AND u.ended_at IS NULL"
    " LEFT JOIN cases_case c ON c.id = u.case_id"
    " LEFT JOIN cases_iddisc d ON d.case_id = c.id"
    " LEFT JOIN retort_log_reading g ON g.id = ("
    "SELECT n.id FROM retort_log_reading n WHERE n.retort_id = r.id AND n.at <= %s"
    " AND NOT EXISTS (SELECT 1 FROM retort_log_readingcorrection w"
    " WHERE w.reading_id = n.id AND w.is_withdrawn AND NOT EXISTS ("
    "SELECT 1 FROM retort_log_readingcorrection x"
    " WHERE x.reading_id = n.id AND x.ordinal > w.ordinal))"
    " ORDER BY n.at DESC LIMIT 1)"
    " LEFT JOIN crematory_staffmember h ON h.id = g.read_by_id"
    " WHERE r.facility_id = %s"
)
_OF_A_MACHINE = {
    "r": Part("retort_log.Retort"),
    "p": Part("chain_of_custody.Place"),
    "t": Part("retort_log.PermitToOperate"),
    "u": Part("retort_log.Run"),
    "c": Part("cases.Case"),
    "d": Part("cases.IdDisc"),
    "g": Part("retort_log.Reading"),
    "h": Part("crematory.StaffMember", "printed_name"),
}
MACHINES = Written(f"{_MACHINES} ORDER BY r.name", **_OF_A_MACHINE)
MACHINE = Written(f"{_MACHINES} AND p.code = %s", **_OF_A_MACHINE)

PLACES = Written(
    "SELECT {p}, {s}, {c},"
    " EXISTS (SELECT 1 FROM cases_hold h WHERE h.case_id = c.id AND h.lifted_at IS NULL)"
    " FROM chain_of_custody_place p"
    " LEFT JOIN chain_of_custody_placement s ON s.place_id = p.id AND s.until IS NULL"
    " LEFT JOIN cases_case c ON c.id = s.case_id"
    " WHERE p.facility_id = %s ORDER BY p.kind, p.area, p.code",
    p=Part("chain_of_custody.Place", "kind", "area", "name", "code", "is_in_use"),
    s=Part("chain_of_custody.Placement", "since"),
    c=Part("cases.Case", "number", "decedent_name", "stage"),
)

COUNTED = Written(
    "SELECT p.kind, COUNT(p.id), COUNT(s.id) FROM chain_of_custody_place p"
    " LEFT JOIN chain_of_custody_placement s ON s.place_id = p.id AND s.until IS NULL"
    " WHERE p.facility_id = %s AND p.is_in_use GROUP BY p.kind"
)


@lru_cache
def ended(count: int) -> Written:
    """Return the query of when the last run of each of this many retorts ended, by a time."""
    parts = (
        "SELECT n.retort_id, MAX(n.ended_at) FROM retort_log_run n",
        "WHERE n.ended_at <= %s AND n.retort_id IN (",
        ", ".join(["%s"] * count),
        ") GROUP BY n.retort_id",
    )
    return Written(" ".join(parts))
