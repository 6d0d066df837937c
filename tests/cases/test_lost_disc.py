"""A disc that cannot be read at the recovery: three persons, a new disc, and the way to release."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from cases.gates import Situation, ask_all
from cases.models import Case, DiscReplaced, IdDisc
from cases.search import by_number
from cases.steps import STEPS
from cases.trail_lines import line
from cases.trail_paper import facts as trail_facts
from chain_of_custody import uploads_in
from chain_of_custody.models import CustodyEntry, PaperSuperseded, Upload
from chain_of_custody.trail import facts_of
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast, raw
from tests.attempts import attempt, before, refusal
from tests.cases.pages import browser, signed, text_of, url
from tests.papers_in import pdf, picture
from tests.test_database_refuses import copy

pytestmark = pytest.mark.django_db
NEW = "N9001"


@pytest.fixture
def cooling(case: Case) -> Case:
    """Cool enough, and about to be recovered."""
    return before("recover", case)


@pytest.fixture
def renewed(cooling: Case) -> Case:
    attempt("recover", cooling, **cast.without_disc(cooling))
    return Case.objects.get(pk=cooling.pk)


def recovery(case: Case) -> CustodyEntry:
    return CustodyEntry.objects.get(case=case, act="recover", outcome="done")


# What is asked


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        ("loss_accepted", {"acceptance": None}),
        ("new_disc_tied", {"disc_number_again": "N2"}),
        ("new_disc_tied", {"disc_number": "?", "disc_number_again": "?"}),
        ("witness_missing", {"witness": None}),
        ("disc_found", {"disc_scan": "own"}),
        ("disc_found", {"disc_scan": "D99999"}),
    ],
)
def test_what_is_missing_is_refused(cooling: Case, code: str, changes: dict[str, Any]) -> None:
    if changes.get("disc_scan") == "own":
        changes = {"disc_scan": cooling.disc.number}
    signed_by = cast.signers("recover", cooling)["signed_by"]
    stated = cast.without_disc(cooling, signed_by=signed_by, **changes)
    assert refusal("recover", cooling, **stated).codes == [code]


@pytest.mark.parametrize("key", [cast.OPERATOR, cast.SECOND_OPERATOR, cast.CLERK])
def test_only_a_manager_accepts(cooling: Case, key: str) -> None:
    other = cast.signature(cast.member(cooling.facility, key))
    stated = cast.without_disc(cooling, acceptance=other)
    assert refusal("recover", cooling, **stated).codes == ["loss_accepted"]


def test_the_manager_is_a_third_person(cooling: Case) -> None:
    manager = cast.signature(cast.member(cooling.facility, cast.MANAGER))
    caught = refusal("recover", cooling, **cast.without_disc(cooling, witness=manager))
    assert caught.codes == ["loss_accepted"]
    assert "third person" in caught.verdicts[0].reason or "third person" in caught.text
    signer = cast.signers("recover", cooling)["signed_by"]
    stated = cast.without_disc(cooling, signed_by=signer, witness=signer)
    assert refusal("recover", cooling, **stated).codes == ["witness_same"]


def test_a_manager_of_another_house_does_not_accept(
    cooling: Case, other_facility: Facility
) -> None:
    stranger = cast.signature(cast.member(other_facility, cast.MANAGER))
    stated = cast.without_disc(cooling, acceptance=stranger)
    assert refusal("recover", cooling, **stated).codes == ["loss_accepted"]


def test_the_new_disc_was_never_given(facility: Facility, renewed: Case) -> None:
    """Neither a disc in use nor one that was replaced is given again."""
    replaced = DiscReplaced.objects.get().old_number
    other = before("recover", cast.make_case(facility))
    for number in (other.disc.number, renewed.disc.number, replaced):
        stated = cast.without_disc(other, disc_number=number, disc_number_again=number)
        assert refusal("recover", other, **stated).codes == ["new_disc_tied"]
    third = before("assign_disc", cast.make_case(facility))
    again = {"disc_number": replaced, "disc_number_again": replaced}
    assert refusal("assign_disc", third, **again).codes == ["disc_unused"]


def test_no_gate_names_the_right_number_beforehand(cooling: Case) -> None:
    with clock.pinned(cast.time_of("recover", cooling)):
        step = STEPS["recover"]
        verdicts = ask_all(Situation(case=cooling, step=step, now=clock.now()))
    shown = " ".join(f"{v.title} {v.reason} {v.who}" for v in verdicts)
    assert cooling.disc.number not in shown


# What becomes of it


def test_from_there_on_the_new_disc_is_the_one(cooling: Case, facility: Facility) -> None:
    old = cooling.disc.number
    labels = list(cooling.papers.filter(kind="label"))
    attempt("recover", cooling, **cast.without_disc(cooling))
    case = Case.objects.get(pk=cooling.pk)
    assert case.disc.number == f"N{case.pk:05d}"
    assert {s.paper for s in PaperSuperseded.objects.all()} == set(labels)
    caught = refusal("process", case, disc_scan=old)
    assert caught.codes == ["disc_on_tray"]
    assert "until another was tied" in caught.verdicts[0].reason
    cast.bring(case, "contained")
    label = case.papers.filter(kind="label").latest("copy")
    assert label.facts["disc_number"] == case.disc.number
    assert refusal("release", case, disc_on_paper=old).codes == ["disc_read_aloud"]
    cast.bring(case, "released")
    assert verify(facility).findings == []
    assert by_number(facility, old) == by_number(facility, case.disc.number) == case


def test_the_entry_says_who_and_what(renewed: Case, manager: StaffMember) -> None:
    entry, replaced = recovery(renewed), DiscReplaced.objects.get()
    stated = facts_of(entry)
    assert entry.witness == cast.member(renewed.facility, cast.SECOND_OPERATOR)
    assert (replaced.entry, replaced.accepted_by) == (entry, manager)
    assert stated["old_disc_number"] == replaced.old_number
    assert stated["photographs"][0]["sha256"] == replaced.photograph.sha256
    assert replaced.photograph.case == renewed
    assert "chamber was empty" not in entry.payload  # the reason is sealed apart
    told = {fact.label: fact.value for fact in line(entry, "metric").facts}
    assert told["disc"] == "found, and cannot be read"
    assert told["disc until then"] == replaced.old_number
    assert told["new disc"] == renewed.disc.number
    assert told["accepted by"] == manager.staff_code
    assert "one person was charged" in told["reason of the acceptance"]


def test_page_and_papers_show_both_numbers(renewed: Case, operator: StaffMember) -> None:
    old = DiscReplaced.objects.get().old_number
    page = text_of(browser(operator), url("case", renewed))
    assert f"disc {renewed.disc.number} · until the recovery disc {old}" in page
    trail = text_of(browser(operator), url("trail", renewed))
    assert old in trail
    assert "Photograph of what was found" not in trail  # nothing was refused
    printed = trail_facts(renewed)
    assert printed["earlier_disc"] == f"{old}, found, and cannot be read"
    assert printed["disc_number"] == renewed.disc.number


def test_an_ordinary_recovery_asks_for_nothing_more(cooling: Case) -> None:
    entry = attempt("recover", cooling)
    assert entry.witness is None
    assert not DiscReplaced.objects.exists()
    assert trail_facts(cooling)["earlier_disc"] == ""


# The database


def test_a_disc_changes_by_its_replacement_only(renewed: Case) -> None:
    for change in ("number = 'X1'", "number = number", "assigned_at = NULL", "case_id = case_id"):
        with raw.refuses("written once|null|NULL"):
            raw.run(f"UPDATE cases_iddisc SET {change} WHERE case_id = %s", renewed.pk)
    with raw.refuses("never deleted"):
        raw.run("DELETE FROM cases_iddisc WHERE case_id = %s", renewed.pk)


def test_a_replacement_stays_and_is_not_made_later(facility: Facility, renewed: Case) -> None:
    with raw.refuses("written once"):
        raw.run("UPDATE cases_discreplaced SET reason = 'another'")
    with raw.refuses("written once"):
        raw.run("DELETE FROM cases_discreplaced")
    other = cast.bring(cast.make_case(facility), "recovered")
    photograph = uploads_in.keep(
        other, cast.member(facility, cast.OPERATOR), picture("PNG"), "p.png"
    )
    late = {
        "case_id": other.pk, "entry_id": recovery(other).pk, "old_number": other.disc.number,
        "new_number": NEW, "photograph_id": photograph.pk,
    }  # fmt: skip
    with raw.refuses("by the entry of its recovery"):
        copy("cases_discreplaced", **late)


@pytest.fixture
def row(cooling: Case) -> dict[str, Any]:
    """The columns of a replacement that lacks nothing, its entry written past `take`."""
    facility = cooling.facility
    operator, witness = (cast.member(facility, k) for k in (cast.OPERATOR, cast.SECOND_OPERATOR))
    raw.insert_entry(
        cooling, "recover", "cooling", "recovered",
        signed_by_id=operator.pk, witness_id=witness.pk,
    )  # fmt: skip
    return {
        "facility_id": facility.pk,
        "case_id": cooling.pk,
        "entry_id": recovery(cooling).pk,
        "found": "missing",
        "old_number": cooling.disc.number,
        "new_number": NEW,
        "photograph_id": uploads_in.keep(cooling, operator, picture("PNG"), "p.png").pk,
        "accepted_by_id": cast.member(facility, cast.MANAGER).pk,
        "reason": "seen",
        "replaced_at": cast.START,
    }


def test_the_database_takes_one_that_lacks_nothing(cooling: Case, row: dict[str, Any]) -> None:
    """The control; and the number changes to what the row says, and to nothing else."""
    raw.insert("cases_discreplaced", **row)
    raw.past_triggers(
        "UPDATE retort_log_run SET ended_at = burner_off_at WHERE case_id = %s", cooling.pk
    )
    with raw.refuses("do not have the new disc"):
        raw.set_stage(cooling, "recovered", row["entry_id"])
    changed = IdDisc._base_manager.filter(case=cooling)
    with raw.refuses("written once"):
        raw.run("UPDATE cases_iddisc SET number = 'X1' WHERE case_id = %s", cooling.pk)
    assert changed.update(number=NEW, assigned_at=cast.START) == 1
    raw.set_stage(cooling, "recovered", row["entry_id"])


@pytest.mark.parametrize(
    ("text", "change"),
    [
        ("entry of its recovery|a manager", lambda c: {"accepted_by_id": _pk(c, cast.OPERATOR)}),
        ("by the entry of its recovery", lambda c: {"entry_id": c.stage_entry_id}),
        ("a manager of the house", lambda c: {"accepted_by_id": _pk(c, cast.CLERK)}),
        ("are of this case", lambda c: {"old_number": "X1"}),
        ("given once", lambda c: {"new_number": c.disc.number, "old_number": c.disc.number}),
        ("disc_replaced_with_reason", lambda c: {"reason": ""}),
        ("disc_replaced_found_known", lambda c: {"found": "burnt"}),
    ],
)
def test_the_database_refuses_one_that_lacks_something(
    cooling: Case, row: dict[str, Any], text: str, change: Any
) -> None:
    with raw.refuses(text):
        raw.insert("cases_discreplaced", **row | change(cooling))


def _pk(case: Case, key: str) -> int:
    return cast.member(case.facility, key).pk


@pytest.fixture
def strange(facility: Facility) -> Upload:
    """A photograph of another case."""
    operator = cast.member(facility, cast.OPERATOR)
    return uploads_in.keep(cast.make_case(facility), operator, picture("PNG"), "o.png")


def test_the_database_wants_a_witness_and_an_own_photograph(
    strange: Upload, cooling: Case, row: dict[str, Any]
) -> None:
    raw.past_triggers(
        "UPDATE chain_of_custody_custodyentry SET witness_id = NULL WHERE id = %s", row["entry_id"]
    )
    with raw.refuses("by the entry of its recovery"):
        raw.insert("cases_discreplaced", **row)
    raw.past_triggers(
        "UPDATE chain_of_custody_custodyentry SET witness_id = %s WHERE id = %s",
        _pk(cooling, cast.SECOND_OPERATOR),
        row["entry_id"],
    )
    with raw.refuses("are of this case"):
        raw.insert("cases_discreplaced", **row | {"photograph_id": strange.pk})


def test_an_old_number_is_given_to_nobody(facility: Facility, renewed: Case) -> None:
    other = cast.bring(cast.make_case(facility), "cleared")
    columns = {
        "facility_id": facility.pk, "case_id": other.pk, "assigned_at": cast.START,
        "number": DiscReplaced.objects.get().old_number,
    }  # fmt: skip
    with raw.refuses("given once"):
        raw.insert("cases_iddisc", **columns)


# The page


def typed(case: Case, **changes: Any) -> dict[str, Any]:
    """The form as three persons fill it in."""
    house = case.facility
    return {
        "token": cast.token(),
        "disc_state": "missing",
        "photograph": SimpleUploadedFile("chamber.jpg", picture("JPEG"), "image/jpeg"),
        "chamber_is_swept": "on",
        "disc_number": NEW,
        "disc_number_again": f"DISC/{NEW}",
        "is_attached": "on",
        "place": cast.free_place(case, "tray").pk,
        "acceptance_reason": "One person was charged, and the chamber was empty before.",
        **signed(cast.member(house, cast.OPERATOR)),
        **signed(cast.member(house, cast.SECOND_OPERATOR), "witness"),
        **signed(cast.member(house, cast.MANAGER), "manager"),
        **changes,
    }


def test_the_page_records_it(cooling: Case, operator: StaffMember) -> None:
    client, address = browser(operator), url("lost-disc", cooling)
    with clock.pinned(cast.time_of("recover", cooling)):
        assert address in text_of(client, url("step", cooling, "recover"))
        assert cooling.disc.number not in text_of(client, address)
        sent = typed(cooling)
        assert client.post(address, sent).status_code == 302
        again = typed(cooling, token=sent["token"])
        assert client.post(address, again).status_code == 302
    case = Case.objects.get(pk=cooling.pk)
    assert (case.stage, case.disc.number) == ("recovered", NEW)
    assert Upload.objects.filter(case=case).count() == 1
    replaced = case.disc_replaced
    assert replaced.found == "missing"
    file = client.get(url("file-page", case, replaced.photograph.token, 1))
    assert file.status_code == 200


@pytest.mark.parametrize(
    ("changes", "status", "words"),
    [
        ({"photograph": ""}, 409, "There is no photograph."),
        ({"acceptance_reason": ""}, 409, "No manager has accepted it with a reason."),
        ({"manager_code": "", "manager_pin": ""}, 409, "No manager has accepted it"),
        ({"disc_number_again": "N2"}, 409, "The two readings differ"),
        ({"is_attached": ""}, 409, "The new disc does not lie with the remains."),
        ({"chamber_is_swept": ""}, 409, "not swept clear"),
        ({"disc_state": ""}, 422, "This field is required"),
        ({"manager_pin": cast.WRONG_PIN}, 409, "do not match"),
    ],
)
def test_the_page_says_what_is_missing(
    cooling: Case, operator: StaffMember, changes: dict[str, Any], status: int, words: str
) -> None:
    with clock.pinned(cast.time_of("recover", cooling)):
        answer = browser(operator).post(url("lost-disc", cooling), typed(cooling, **changes))
    assert words in answer.content.decode()
    assert answer.status_code == status or answer.status_code == 403
    cooling.refresh_from_db()
    assert cooling.stage == "cooling"
    assert not Upload.objects.exists()
    if "manager_pin" not in changes or not changes["manager_pin"]:
        assert status == 422 or CustodyEntry.objects.latest("pk").outcome == "refused"


def test_another_file_is_no_photograph(cooling: Case, operator: StaffMember) -> None:
    paper = SimpleUploadedFile("disc.jpg", pdf(), "image/jpeg")
    with clock.pinned(cast.time_of("recover", cooling) + timedelta(minutes=1)):
        answer = browser(operator).post(url("lost-disc", cooling), typed(cooling, photograph=paper))
    assert answer.status_code == 422
    assert "Take a photograph" in answer.content.decode()
