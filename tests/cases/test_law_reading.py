"""A file of the law is read strictly: whatever is odd is one error that names file, table, key."""

import pytest

from cases import law
from cases.law.reading import parse
from cases.law.shape import TABLES

FILE = "us-mt.toml"
TEXT = (law.FOLDER / FILE).read_text("utf-8")
FOUND = 'mark = "found"\n'  # of the first table, the wait
RETENTION = '[[retention]]\nwhat = "record"\nrule = "permanent"\n'
DISPOSE = '[[unclaimed]]\nthen = "dispose"\ndays = 90\n'
UNKNOWN_CHAMBER = '[[secondary_chamber]]\ncitation = "No temperature was seen."\n'
SPOUSE = '[[authority.rank]]\nkey = "spouse"\nquorum = "one"\n'

SPOILT: list[tuple[str, str, str, str]] = [
    # what stands, what is put there, the table and key that the error must name
    ("[wait]\n", "[wait]\nhour = 3\n", "[wait] hour", "not known"),
    ("[wait]\n", "[weight]\n", "[top] weight", "not known"),
    ('citation = "MCA 37-19-705(2)"', 'citation = " "', "[wait] citation", "missing"),
    ('citation = "MCA 37-19-705(2)"\n', "", "[wait] citation", "missing"),
    (FOUND, FOUND.replace("found", "sure"), "[wait] mark", "sure"),
    (FOUND, FOUND.replace("found", "unknown"), "[wait] hours", "has no value"),
    (
        UNKNOWN_CHAMBER,
        UNKNOWN_CHAMBER + 'min_f = "1600"\n',
        "[secondary_chamber] min_f",
        "no value",
    ),
    (SPOUSE, SPOUSE + "\n" + SPOUSE, "[authority.rank] key", "twice"),
    (SPOUSE, SPOUSE.replace("spouse", "neighbour"), "[authority.rank] key", "neighbour"),
    (SPOUSE, SPOUSE.replace('"one"', '"most"'), "[authority.rank] quorum", "most"),
    (SPOUSE, SPOUSE + 'excluded_when = ["rude"]\n', "[authority.rank] excluded_when", "rude"),
    (SPOUSE, SPOUSE + "age = 18\n", "[authority.rank] age", "not known"),
    (SPOUSE, SPOUSE + 'mark = "unknown"\n', "[authority.rank] mark", "not listed"),
    ("hours = 24", "hours = 0", "[wait] hours", "between 1 and 336"),
    ("hours = 24", "hours = -24", "[wait] hours", "between 1 and 336"),
    ("hours = 24", "hours = 2400", "[wait] hours", "between 1 and 336"),
    ("hours = 24", 'hours = "24"', "[wait] hours", "whole number"),
    ("hours = 24", "hours = 24.0", "[wait] hours", "whole number"),
    ("hours = 24", "hours = true", "[wait] hours", "whole number"),
    ("hours = 24\n", "", "[wait] hours", "missing"),
    ('from = "death"\n', "", "[wait] from", "missing"),
    ('from = "death"\n', 'from = "birth"\n', "[wait] from", "birth"),
    ('max_f = "35"', "max_f = 35", "[holding] max_f", "in quotes"),
    ('max_f = "35"', 'max_f = "NaN"', "[holding] max_f", "in quotes"),
    ('max_f = "35"', 'max_f = "3.5E1"', "[holding] max_f", "in quotes"),
    ('max_f = "35"', 'max_f = "350"', "[holding] max_f", "between 20 and 60"),
    ('max_f = "35"', 'max_f = "35"\nmax_c = "1.7"', "[holding] max_c", "one unit"),
    (RETENTION, RETENTION + "years = 5\n", "[retention] years", "permanently"),
    (RETENTION, RETENTION.replace("permanent", "years"), "[retention] years", "missing"),
    (RETENTION, RETENTION.replace("record", "gossip"), "[retention] what", "gossip"),
    (DISPOSE, DISPOSE.replace("days = 90\n", ""), "[unclaimed] days", "days or years"),
    (DISPOSE, DISPOSE + "years = 1\n", "[unclaimed] days", "days or years"),
    (DISPOSE, DISPOSE.replace("[[unclaimed]]", "[unclaimed]"), "[unclaimed] unclaimed", "[["),
    ("[wait]\n", "[[wait]]\n", "[wait] wait", "once"),
    ('kind = "removal_authorization"', 'kind = "napkin"', "[document] kind", "napkin"),
    (
        'kind = "removal_authorization"',
        'kind = "cremation_authorization"',
        "[document] kind",
        "twice",
    ),
    ('demands = ["none_unidentified", ', 'demands = ["luck", ', "[identification] demands", "luck"),
    (
        'demands = ["none_unidentified", ',
        'demands = ["exterior_label", ',
        "[identification] demands",
        "twice",
    ),
    (
        'demands = ["none_unidentified", "exterior_label"]',
        "demands = []",
        "[identification] demands",
        "empty",
    ),
    ("human_only = true", 'human_only = "yes"', "[one_body] human_only", "true or false"),
    ('code = "us-mt"', 'code = "us-xx"', "[top] code", "file's name"),
    ('name = "Montana"', 'name = ""', "[top] name", "missing"),
    ("text_date = 2026-11-25", 'text_date = "today"', "[top] text_date", "date"),
]


@pytest.mark.parametrize(("stands", "put", "names", "says"), SPOILT)
def test_an_odd_file_is_one_clear_error(stands: str, put: str, names: str, says: str) -> None:
    assert stands in TEXT
    spoilt = TEXT.replace(stands, put, 1)
    with pytest.raises(law.RuleFileError) as refusal:
        parse(spoilt, FILE)
    said = str(refusal.value)
    assert said.startswith(f"{FILE}: {names}"), said
    assert says in said


def test_the_file_unspoilt_is_read() -> None:
    assert parse(TEXT, FILE) == law.jurisdiction("us-mt")


def test_no_toml_is_an_error_with_the_files_name() -> None:
    with pytest.raises(law.RuleFileError, match=r"us-mt\.toml: not TOML"):
        parse("[wait", FILE)


@pytest.mark.parametrize("table", [table for table in TABLES if table.is_core])
def test_a_core_table_cannot_be_left_out(table: object) -> None:
    name = table.name  # type: ignore[attr-defined]
    spoilt = TEXT.replace(f"[{name}]", f"[x_{name}]").replace(f"[{name}.", f"[x_{name}.")
    with pytest.raises(law.RuleFileError, match="not known here"):
        parse(spoilt, FILE)
    lines = iter(TEXT.splitlines())
    kept, is_in = [], False
    for line in lines:
        if line.startswith("["):
            is_in = line.strip("[]").split(".")[0] == name
        if not is_in:
            kept.append(line)
    with pytest.raises(law.RuleFileError, match=rf"\[top\] {name}: is missing"):
        parse("\n".join(kept), FILE)


def test_a_read_on_that_is_no_date_is_refused() -> None:
    with pytest.raises(law.RuleFileError, match=r"\[wait\] read_on"):
        parse(TEXT.replace("read_on = 2026-11-25", "", 1), FILE)
    with pytest.raises(law.RuleFileError, match=r"\[wait\] read_on"):
        parse(TEXT.replace("read_on = 2026-11-25", "read_on = 2026-11-25T10:00:00", 1), FILE)


def test_what_is_unknown_stands_alone() -> None:
    second = '[[secondary_chamber]]\napplies = "always"\nmin_f = "1600"\n'
    source = 'citation = "x"\nmark = "found"\nread_on = 2026-11-25\n\n'
    with pytest.raises(law.RuleFileError, match="stands alone"):
        parse(TEXT.replace(UNKNOWN_CHAMBER, second + source + UNKNOWN_CHAMBER), FILE)


def test_a_found_rule_without_a_value_is_refused() -> None:
    unknown = 'citation = "No temperature was seen."\nlink = ""\nmark = "unknown"'
    assert unknown in TEXT
    with pytest.raises(law.RuleFileError, match=r"\[secondary_chamber\] mark"):
        parse(TEXT.replace(unknown, unknown.replace('"unknown"', '"found"')), FILE)


def test_a_table_that_may_be_absent_is_unknown() -> None:
    rules = law.jurisdiction("us-pa")
    assert (rules.dispute.mark, rules.dispute.is_enforced) == ("unknown", False)
    assert rules.notices == ()


def test_a_code_without_a_file_is_refused_with_the_list() -> None:
    with pytest.raises(law.JurisdictionUnknown, match="us-mt"):
        law.jurisdiction("mars")


@pytest.mark.parametrize("code", law.codes())
def test_no_jurisdiction_reads_as_having_no_rule(code: str) -> None:
    rules = law.jurisdiction(code)
    assert {"cremation_authorization", "application"} & {p.kind for p in rules.documents}
    assert rules.clearance_rule in ("always", "listed", "reportable")
    assert rules.clearance_citation
    assert rules.wait_citation
    assert rules.radioactive_citation
    assert rules.wait_hours is None or rules.wait_hours >= 24
    if rules.wait_hours is None:
        assert "Ask the local authority" in rules.wait_citation


@pytest.mark.parametrize("code", law.codes())
def test_the_three_states_follow_the_mark(code: str) -> None:
    enforced, confirm = {"found"}, {"found-old", "found-bill", "secondary", "prior"}
    for table in TABLES:
        rules = getattr(law.jurisdiction(code), table.attribute)
        for rule in rules if isinstance(rules, tuple) else (rules,):
            wanted = (
                "enforced" if rule.mark in enforced else "confirm" if rule.mark in confirm else
                "unknown"
            )  # fmt: skip
            assert rule.state == wanted
            assert rule.is_enforced is (wanted != "unknown")
            assert not rule.adopted


def test_a_digest_tells_rules_apart() -> None:
    digests = {law.jurisdiction(code).digest for code in law.codes()}
    assert len(digests) == len(law.codes())
    assert all(len(digest) == 64 for digest in digests)
    reread = parse(TEXT, FILE)
    assert reread.digest == law.jurisdiction("us-mt").digest
    changed = parse(TEXT.replace("hours = 24", "hours = 25", 1), FILE)
    assert changed.digest != reread.digest
    assert '"hours": 24' in reread.to_json()
