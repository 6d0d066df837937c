"""Personal things: the list, changes of mind, giving back, the receipt, and the gates."""

import json
import re
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from cases import papers, thing_acts, things
from cases.corrections import correct
from cases.errors import ActRefused
from cases.models import Case, ThingsReceipt
from cases.thing_acts import Listed, Receipt
from chain_of_custody.models import CustodyEntry, Upload
from chain_of_custody.press import PrintRefused, read_paper
from chain_of_custody.trail import facts_of
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast, raw
from tests.attempts import attempt, before, refusal
from tests.cases.pages import browser, signed, text_of, url
from tests.papers_in import pdf, picture

pytestmark = pytest.mark.django_db

RING = Listed("wedding ring", "jewellery", "returned", "Anna Agent, daughter", "safe, envelope 14")
SHAWL = Listed("blue shawl", "clothing", "goes_along", "Anna Agent, daughter")
WATCH = Listed("watch", "jewellery", "open")


def put(case: Case, member: StaffMember, *lines: Listed, **how: Any) -> CustodyEntry:
    return thing_acts.list_things(case, member, cast.token(), lines, **how)


def back(case: Case, member: StaffMember, **changes: Any) -> CustodyEntry:
    told = {
        "returned_to": "Anna Agent",
        "identification": "driver licence",
        "receipt": Receipt(form="paper", reason="The scanner is broken."),
    }
    given = changes.pop("things", things.due(case))
    return thing_acts.give_back(
        case, cast.signature(member), cast.token(), given, **{**told, **changes}
    )


def code_of(act: Any) -> str:
    with pytest.raises(ActRefused) as refused:
        act()
    return refused.value.code


# The list


def test_things_are_one_sealed_entry(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    cast.do("receive", case)
    entry = put(case, clerk, RING, SHAWL, is_complete=True)
    told = facts_of(entry)
    assert "wedding ring" in told["things"]
    assert "lies in safe, envelope 14" in told["things"]
    assert told["list_is_complete"] is True
    for word in ("wedding", "Anna", "envelope"):
        assert word not in entry.payload
    assert verify(facility).findings == []


@pytest.mark.parametrize(
    ("line", "code"),
    [
        (Listed(" ", "jewellery", "open"), "thing_unnamed"),
        (Listed("ring", "jewellery", "goes_along", " "), "thing_undecided"),
        (Listed("ring", "jewellery", "returned", "Anna Agent"), "thing_place"),
    ],
)
def test_a_line_says_all_or_nothing_is_listed(
    facility: Facility, clerk: StaffMember, line: Listed, code: str
) -> None:
    case = cast.make_case(facility)
    assert code_of(lambda: put(case, clerk, SHAWL, line)) == code
    assert not case.things.exists()


def test_a_change_of_mind_replaces_the_line_and_keeps_the_old_one(
    facility: Facility, clerk: StaffMember
) -> None:
    case = cast.make_case(facility)
    put(case, clerk, WATCH)
    first = case.things.get()
    decided = Listed("watch", "jewellery", "goes_along", "Anna Agent", replaces=first)
    put(case, clerk, decided)
    assert [thing.wish for thing in things.standing(case)] == ["goes_along"]
    assert case.things.count() == 2
    assert code_of(lambda: put(case, clerk, decided)) == "stated_meanwhile"
    put(case, clerk, Listed("watch", "jewellery", "mistake", "C", replaces=case.things.last()))
    assert things.standing(case) == []


def test_a_thing_of_another_case_is_not_replaced(facility: Facility, clerk: StaffMember) -> None:
    one, other = cast.make_case(facility), cast.make_case(facility)
    put(one, clerk, WATCH)
    line = Listed("watch", "jewellery", "open", replaces=one.things.get())
    assert code_of(lambda: put(other, clerk, line)) == "stated_meanwhile"


@pytest.mark.parametrize(("key", "may"), [("C1", True), ("O1", True), ("M1", False)])
def test_who_lists_things(facility: Facility, key: str, may: bool) -> None:
    case, member = cast.make_case(facility), cast.member(facility, key)
    if may:
        put(case, member, RING)
    else:
        assert code_of(lambda: put(case, member, RING)) == "role"


def test_what_the_receipt_names_is_not_forgotten(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    cast.do("receive", case, belongings="wedding ring, glasses")
    assert things.written_at_receipt(case) == "wedding ring, glasses"
    assert code_of(lambda: put(case, clerk, is_complete=True)) == "things_written"
    put(case, clerk, is_complete=True, note="the driver took both back")
    page = text_of(browser(clerk), url("things", case))
    assert "the driver took both back" in page


@pytest.mark.parametrize("written", ["none", "None.", " NONE "])
def test_none_at_the_receipt_is_none(facility: Facility, written: str) -> None:
    case = cast.make_case(facility)
    cast.do("receive", case, belongings=written)
    assert things.written_at_receipt(case) == ""


def test_after_the_charge_nothing_more_goes_along(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    put(case, clerk, SHAWL)
    cast.bring(case, "in_retort")
    gone = things.standing(case)[0]
    assert code_of(lambda: put(case, clerk, SHAWL)) == "thing_gone"
    assert code_of(lambda: put(case, clerk, WATCH)) == "thing_gone"
    line = Listed("blue shawl", "clothing", "returned", "A", "safe", replaces=gone)
    assert code_of(lambda: put(case, clerk, line)) == "thing_gone"
    put(case, clerk, RING)  # found in the cooler, for the family


# The gates


def test_something_undecided_holds_the_clearing(case: Case, clerk: StaffMember) -> None:
    before("clear_devices", case)
    with clock.pinned(cast.time_of("clear_devices", case)):
        put(case, clerk, WATCH)
    found = refusal("clear_devices", case)
    assert found.codes == ["jewellery_settled"]
    assert "watch" in found.text


def test_nobody_looked_before_the_person_came(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    assert code_of(lambda: put(case, clerk, RING, is_complete=True)) == "things_too_early"
    assert not case.things.exists()


def test_a_list_closed_before_the_receipt_does_not_count(case: Case) -> None:
    before("clear_devices", case)
    assert things.is_looked_for(case)
    receipt = case.entries.get(act="receive")
    # A list that was closed first, as the trail would have it.
    last = case.entries.order_by("-sequence")[0].sequence
    raw.past_triggers(
        "UPDATE chain_of_custody_custodyentry SET sequence = %s WHERE id = %s",
        last + 1000,
        receipt.pk,
    )
    assert not things.is_looked_for(case)


def test_belongings_written_otherwise_are_looked_for_again(
    case: Case, manager: StaffMember, clerk: StaffMember
) -> None:
    before("clear_devices", case)
    with clock.pinned(cast.time_of("clear_devices", case)):
        signature = cast.signature(manager)
        correct(case, signature, cast.token(), "belongings", "a brooch", "the driver said so")
    assert refusal("clear_devices", case).codes == ["jewellery_settled"]
    with clock.pinned(cast.time_of("clear_devices", case)):
        put(case, clerk, is_complete=True, note="the daughter took it")
    attempt("clear_devices", case)


@pytest.mark.parametrize("verb", ["release", "return_uncremated"])
def test_nobody_leaves_while_a_ring_lies_here(case: Case, verb: str) -> None:
    before(verb, case)
    with clock.pinned(cast.time_of(verb, case)):
        cast.list_ring(case)
    assert refusal(verb, case).codes == ["things_given_back"]
    assert refusal(verb, case, things_are_given=False).codes == ["things_given_back"]
    attempt(verb, case, things_are_given=True)
    returned = things.given(case)[0].returned
    assert returned.identification == "driver licence"
    assert things.due(case) == []


def test_what_is_sent_by_a_carrier_is_not_signed_for(case: Case) -> None:
    before("release", case)
    with clock.pinned(cast.time_of("release", case)):
        cast.list_ring(case)
    sent = {"receipt_is_signed": False, "carrier": "Post", "tracking_number": "RR 1"}
    assert refusal("release", case, things_are_given=True, **sent).codes == ["things_given_back"]


def test_what_goes_along_holds_nobody_back(case: Case) -> None:
    before("return_uncremated", case)
    with clock.pinned(cast.time_of("return_uncremated", case)):
        cast.list_ring(case, "goes_along")
    assert attempt("return_uncremated", case).stage_to == "returned"


# Giving back


def test_a_ring_is_given_back_against_a_signature(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    put(case, clerk, RING, SHAWL)
    assert code_of(lambda: back(case, clerk, receipt=Receipt(form=""))) == "receipt_unsigned"
    assert code_of(lambda: back(case, clerk, identification=" ")) == "receiver_missing"
    assert code_of(lambda: back(case, clerk, things=[])) == "unchanged"
    shawl = next(t for t in things.standing(case) if t.wish == "goes_along")
    assert code_of(lambda: back(case, clerk, things=[shawl])) == "thing_changed"
    ring = things.due(case)
    entry = back(case, clerk)
    assert '"signature":"pin"' in entry.payload
    assert "wedding" not in entry.payload
    assert code_of(lambda: back(case, clerk, things=ring)) == "thing_changed"
    line = Listed("wedding ring", "jewellery", "goes_along", "A", replaces=ring[0])
    assert code_of(lambda: put(case, clerk, line)) == "stated_meanwhile"


@pytest.mark.parametrize(("key", "may"), [("C1", True), ("O1", False), ("M1", True)])
def test_who_gives_back(facility: Facility, clerk: StaffMember, key: str, may: bool) -> None:
    case = cast.make_case(facility)
    put(case, clerk, RING)
    if may:
        back(case, cast.member(facility, key))
    else:
        assert code_of(lambda: back(case, cast.member(facility, key))) == "role"


# The database


def test_the_database_holds_the_list(case: Case, clerk: StaffMember) -> None:
    put(case, clerk, RING, SHAWL)
    ring, shawl = case.things.all()
    receipt = ThingsReceipt.objects.create(
        case=case, form="unsigned", reason="none", signed_at=clock.now()
    )
    at = {
        "receipt_id": receipt.pk, "returned_to": "A", "identification": "B",
        "returned_at": clock.now(),
    }  # fmt: skip
    with raw.refuses("not to be given back"):
        raw.insert("cases_thingreturned", thing_id=shawl.pk, **at)
    with raw.refuses("never|append|stay"):
        raw.run("UPDATE cases_personalthing SET wish = 'goes_along' WHERE id = %s", ring.pk)
    row = {
        "case_id": case.pk, "description": "x", "kind": "other", "wish": "returned",
        "decided_by": "A", "kept_in": "", "listed_at": clock.now(),
    }  # fmt: skip
    with raw.refuses("thing_kept_somewhere"):
        raw.insert("cases_personalthing", **row)
    with raw.refuses("thing_decided_by_somebody"):
        raw.insert("cases_personalthing", **{**row, "kept_in": "safe", "decided_by": ""})
    other = cast.make_case(case.facility)
    with raw.refuses("same case"):
        raw.insert(
            "cases_personalthing",
            **{**row, "kept_in": "safe", "case_id": other.pk, "replaces_id": ring.pk},
        )


DEVICE_ROW: dict[str, Any] = {
    "device": "pacemaker", "answer": "yes", "informant": "x", "outcome": "", "removed_by": "",
    "went_to": "", "receipt_reference": "", "attested_by": "", "attester_licence": "",
    "stays_by_rule": "", "nuclide": "", "nuclide_use": "", "adviser": "",
}  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "constraint"),
    [
        ({"answer": "no", "outcome": "removed"}, "device_"),
        ({"outcome": "removed", "removed_by": "Dr Example"}, "device_removal_whole"),
        ({"removed_by": "Dr Example"}, "device_removal_whole"),
        ({"outcome": "attested", "attested_by": "M"}, "device_attestation_whole"),
        ({"outcome": "stays", "stays_by_rule": "a rule"}, "device_stays_if_harmless"),
        ({"nuclide": "I-125"}, "device_nuclide_of_radioactive"),
        ({"device": "radioactive", "activity_mbq": "5"}, "device_activity_with_its_day"),
        ({"device": "radioactive", "adviser": "A"}, "device_advice_whole"),
        (
            {
                "device": "radioactive", "nuclide_use": "dose", "outcome": "attested",
                "attested_by": "M", "attester_licence": "E-2",
            },
            "device_dose_not_removed",
        ),
    ],
)  # fmt: skip
def test_the_database_holds_device_answers(
    case: Case, changes: dict[str, Any], constraint: str
) -> None:
    with raw.refuses(constraint):
        raw.insert(
            "cases_deviceanswer",
            case_id=case.pk, answered_at=clock.now(), **{**DEVICE_ROW, **changes},
        )  # fmt: skip


def test_no_stage_is_reached_past_a_device_or_a_ring(case: Case) -> None:
    cast.bring(case, "cleared")
    entry = case.stage_entry_id
    case = Case.objects.get(pk=case.pk)
    raw.past_triggers("UPDATE cases_case SET stage = 'authorized' WHERE id = %s", case.pk)
    raw.insert("cases_deviceanswer", case_id=case.pk, answered_at=clock.now(), **DEVICE_ROW)
    with raw.refuses("a device is there"):
        raw.set_stage(case, "cleared", entry)
    later = cast.bring(cast.make_case(case.facility), "released")
    entry = later.stage_entry_id
    raw.past_triggers("UPDATE cases_case SET stage = 'contained' WHERE id = %s", later.pk)
    cast.list_ring(Case.objects.get(pk=later.pk))
    with raw.refuses("lies here"):
        raw.set_stage(later, "released", entry)


# The pages


def form_of(*lines: dict[str, Any], **more: Any) -> dict[str, Any]:
    """The page of things, with these lines filled in."""
    data: dict[str, Any] = {
        "token": cast.token(),
        "things-TOTAL_FORMS": max(len(lines), 3),
        "things-INITIAL_FORMS": 3,
    }
    for number, line in enumerate(lines):
        data |= {f"things-{number}-{name}": value for name, value in line.items()}
    return data | more


TYPED = {"description": "wedding ring", "kind": "jewellery", "wish": "returned"}
DECIDED = {"decided_by": "Anna Agent", "kept_in": "safe, envelope 14"}


def test_the_page_lists_and_closes_in_one_sending(facility: Facility, clerk: StaffMember) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    cast.do("receive", case)
    data = form_of(TYPED, **DECIDED, is_complete="on")
    for _ in range(2):
        assert client.post(url("things", case), data).status_code == 302
    assert case.things.get().kept_in == "safe, envelope 14"
    assert case.things_looked_for.count() == 1
    page = text_of(client, url("case", case))
    assert "is given back" in page
    assert url("give-back", case) in page


@pytest.mark.parametrize(
    ("line", "more", "words"),
    [
        ({**TYPED, "kind": ""}, DECIDED, "Choose the kind."),
        ({**TYPED, "wish": ""}, DECIDED, "or that it is not decided yet"),
        (TYPED, {**DECIDED, "decided_by": ""}, "Say who decided."),
        (TYPED, {**DECIDED, "kept_in": ""}, "Say where it lies"),
        ({}, {}, "Nothing was listed"),
    ],
)
def test_bad_input_says_why_and_is_kept(
    facility: Facility,
    clerk: StaffMember,
    line: dict[str, Any],
    more: dict[str, Any],
    words: str,
) -> None:
    case = cast.make_case(facility)
    response = browser(clerk).post(url("things", case), form_of(line, **more))
    text = response.content.decode()
    assert response.status_code == 422
    assert words in text
    if line:
        assert 'value="wedding ring"' in text
    assert not case.things.exists()


def sent_again(text: str) -> dict[str, str]:
    """What a browser would send of the lines on this page."""
    fields = re.findall(r'<input[^>]*name="(things-[^"]+|seen)"[^>]*>', text)
    found = {}
    for name in fields:
        tag = re.search(rf'<input[^>]*name="{name}"[^>]*>', text)
        value = re.search(r'value="([^"]*)"', tag[0]) if tag else None
        found[name] = value[1] if value else ""
    for name, body in re.findall(
        r'<select[^>]*name="(things-[^"]+)"[^>]*>(.*?)</select>', text, re.S
    ):
        chosen = re.search(r'value="([^"]*)"[^>]*selected', body)
        found[name] = chosen[1] if chosen else ""
    return {name: value for name, value in found.items() if not name.endswith("-photo")}


def test_a_stale_page_changes_no_other_thing(facility: Facility, clerk: StaffMember) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    put(case, clerk, WATCH, Listed("glasses", "other", "open"))
    watch, glasses = things.standing(case)
    page = sent_again(text_of(client, url("things", case)))
    assert page["things-0-thing"] == str(watch.pk)
    put(case, clerk, Listed("watch", "jewellery", "mistake", "C", replaces=watch))
    put(case, clerk, SHAWL)
    typed = page | {
        "token": cast.token(), "things-1-description": "reading glasses",
        "things-2-description": "a hat", "things-2-kind": "clothing", "things-2-wish": "open",
    }  # fmt: skip
    response = client.post(url("things", case), typed)
    text = response.content.decode()
    assert response.status_code == 409
    assert "Something was recorded meanwhile" in text
    assert [t.description for t in things.standing(case)] == ["glasses", "blue shawl"]
    again = sent_again(text)
    assert again["things-0-thing"] == str(glasses.pk)
    assert again["things-0-description"] == "reading glasses"
    assert again["things-1-description"] == "blue shawl"
    assert again["things-2-description"] == "a hat"
    assert "watch" not in text
    done = client.post(url("things", case), again | {"token": cast.token()})
    assert done.status_code == 302
    told = [t.description for t in things.standing(case)]
    assert told == ["blue shawl", "reading glasses", "a hat"]
    assert next(t for t in things.standing(case) if t.replaces).replaces == glasses


def test_what_was_typed_of_a_thing_that_changed_stays_on_the_page(
    facility: Facility, clerk: StaffMember
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    put(case, clerk, WATCH)
    page = sent_again(text_of(client, url("things", case)))
    put(case, clerk, Listed("wrist watch", "jewellery", "open", replaces=case.things.get()))
    typed = page | {"token": cast.token(), "things-0-description": "silver watch"}
    response = client.post(url("things", case), typed)
    again = sent_again(response.content.decode())
    assert response.status_code == 409
    assert again["things-0-description"] == "wrist watch"
    assert again["things-1-description"] == "silver watch"
    assert again["things-1-thing"] == ""
    assert case.things.count() == 2


def test_what_the_receipt_names_stands_ready_and_is_not_listed_by_itself(
    facility: Facility, clerk: StaffMember
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    cast.do("receive", case, belongings="wedding ring; glasses")
    page = text_of(client, url("things", case))
    assert 'value="wedding ring"' in page
    assert 'value="glasses"' in page
    lines = [{"description": "wedding ring"}, {"description": "glasses"}]
    response = client.post(url("things", case), form_of(*lines, is_complete="on"))
    assert response.status_code == 422
    assert "The receipt names things" in response.content.decode()


def test_a_photograph_is_kept_and_another_file_is_not(
    facility: Facility, clerk: StaffMember, settings: Any
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    bad = {"things-0-photo": SimpleUploadedFile("ring.jpg", pdf(), "image/jpeg")}
    response = client.post(url("things", case), form_of(TYPED, **DECIDED) | bad)
    assert response.status_code == 422
    assert "Take a photograph" in response.content.decode()
    stored = [path for path in Path(settings.UPLOADS_DIR).rglob("*") if path.is_file()]
    assert Upload.objects.count() == 0
    photo = {"things-0-photo": SimpleUploadedFile("ring.jpg", picture("JPEG"), "image/jpeg")}
    assert client.post(url("things", case), form_of(TYPED, **DECIDED) | photo).status_code == 302
    upload = case.things.get().photo
    assert upload is not None
    assert upload.sha256 in case.entries.get(act="list_things").payload
    assert upload.token in text_of(client, url("things", case))
    now = [path for path in Path(settings.UPLOADS_DIR).rglob("*") if path.is_file()]
    assert len(now) == len(stored) + 1
    first = case.things.get()
    put(case, clerk, Listed("ring", "jewellery", "goes_along", "A", replaces=first))
    changed = things.standing(case)[0]
    assert changed.photo == upload
    last = case.entries.filter(act="list_things").order_by("sequence").last()
    assert last is not None
    assert upload.sha256 not in last.payload


def handing_over(case: Case, by: StaffMember, **changes: Any) -> dict[str, Any]:
    """The page of giving back, filled in for what lies here."""
    return {
        "things": [str(thing.pk) for thing in things.due(case)],
        "returned_to": "Anna Agent",
        "identification": "passport",
        "token": cast.token(),
        **signed(by),
        **changes,
    }


STROKES = [[[100 + 40 * n, 900 - 30 * (n % 7), 12 * n] for n in range(30)]]


def test_the_receiver_signs_on_the_tablet(facility: Facility, clerk: StaffMember) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    assert "Nothing lies here" in text_of(client, url("give-back", case))
    put(case, clerk, RING)
    page = text_of(client, url("give-back", case))
    assert "I received the personal things of Ada Example that are ticked here." in page
    data = handing_over(case, clerk, way="tablet", strokes=json.dumps(STROKES))
    for _ in range(2):
        assert client.post(url("give-back", case), data).status_code == 302
    receipt, picture = ThingsReceipt.objects.get(), Upload.objects.get()
    assert (receipt.form, receipt.drawing, receipt.strokes) == ("tablet", picture, STROKES)
    assert receipt.meaning in page
    assert [thing.returned.receipt for thing in things.given(case)] == [receipt]
    told = facts_of(case.entries.get(act="give_back"))
    assert (told["receipt_form"], told["drawing_sha256"]) == ("tablet", picture.sha256)
    shown = text_of(client, url("things", case))
    assert picture.token in shown
    assert "Signature drawn by Anna Agent" in shown
    text = _text(papers.print_for(case, papers.KINDS["things"], clerk))
    assert "Drawn on the tablet" in text
    assert receipt.meaning in text
    assert verify(facility).findings == []


def test_the_receiver_signs_on_paper_and_the_scan_is_kept(
    facility: Facility, clerk: StaffMember
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    put(case, clerk, RING)
    data = handing_over(case, clerk, way="paper")
    unsent = client.post(url("give-back", case), data)
    assert unsent.status_code == 422
    assert "Add the scan of the signed receipt" in unsent.content.decode()
    assert 'value="passport"' in unsent.content.decode()
    scan = {"scan": SimpleUploadedFile("receipt.pdf", pdf(), "application/pdf")}
    assert client.post(url("give-back", case), data | scan).status_code == 302
    receipt, kept = ThingsReceipt.objects.get(), Upload.objects.get()
    assert (receipt.form, receipt.scan, receipt.reason) == ("paper", kept, "")
    assert facts_of(case.entries.get(act="give_back"))["scan"]["sha256"] == kept.sha256
    assert url("file-page", case, kept.token, 1) in text_of(client, url("things", case))
    text = _text(papers.print_for(case, papers.KINDS["things"], clerk))
    assert f"the scan is kept, SHA-256 {kept.sha256[:12]}" in text


def test_who_does_not_sign_is_recorded_with_the_reason(
    facility: Facility, clerk: StaffMember
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    put(case, clerk, RING)
    data = handing_over(case, clerk, way="unsigned")
    unexplained = client.post(url("give-back", case), data)
    assert unexplained.status_code == 422
    assert "Say why nobody signs" in unexplained.content.decode()
    reason = "She cannot use her hand; her son saw it."
    explained = data | {"unsigned_reason": reason}
    assert client.post(url("give-back", case), explained).status_code == 302
    assert facts_of(case.entries.get(act="give_back"))["unsigned_reason"] == reason
    assert reason not in case.entries.get(act="give_back").payload
    assert reason in text_of(client, url("things", case))
    assert f"Not signed: {reason}" in _text(papers.print_for(case, papers.KINDS["things"], clerk))


@pytest.mark.parametrize(
    ("way", "more", "words"),
    [
        ("", {}, "The receiver signs the receipt, or say why not"),
        ("tablet", {}, "Nothing is drawn"),
        ("tablet", {"strokes": "[[[1, 1, 1]]]"}, "but a dot"),
        ("paper", {"scan": b"no picture"}, "whatever its name says"),
    ],
)
def test_what_is_no_receipt_gives_nothing_back_and_leaves_no_file(
    facility: Facility,
    clerk: StaffMember,
    way: str,
    more: dict[str, Any],
    words: str,
    settings: Any,
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    put(case, clerk, RING)
    before = [path for path in Path(settings.UPLOADS_DIR).rglob("*") if path.is_file()]
    if "scan" in more:
        more = {"scan": SimpleUploadedFile("receipt.pdf", more["scan"], "application/pdf")}
    response = client.post(url("give-back", case), handing_over(case, clerk, way=way, **more))
    assert response.status_code == 422
    assert words in response.content.decode()
    assert things.given(case) == []
    assert [path for path in Path(settings.UPLOADS_DIR).rglob("*") if path.is_file()] == before


def test_a_refused_giving_back_leaves_no_drawing(
    facility: Facility, clerk: StaffMember, operator: StaffMember, settings: Any
) -> None:
    case = cast.make_case(facility)
    put(case, clerk, RING)
    before = [path for path in Path(settings.UPLOADS_DIR).rglob("*") if path.is_file()]
    data = handing_over(case, operator, way="tablet", strokes=json.dumps(STROKES))
    assert browser(operator).post(url("give-back", case), data).status_code == 403
    assert [path for path in Path(settings.UPLOADS_DIR).rglob("*") if path.is_file()] == before


@pytest.mark.parametrize(
    ("receipt", "code"),
    [
        (Receipt(form="tablet"), "drawing_missing"),
        (Receipt(form="paper", reason=" "), "scan_missing"),
        (Receipt(form="unsigned"), "unsigned_unexplained"),
        (Receipt(form="with_receipt"), "receipt_unsigned"),
    ],
)
def test_no_thing_leaves_without_a_receipt_or_a_reason(
    facility: Facility, clerk: StaffMember, receipt: Receipt, code: str
) -> None:
    case = cast.make_case(facility)
    put(case, clerk, RING)
    assert code_of(lambda: back(case, clerk, receipt=receipt)) == code
    assert not ThingsReceipt.objects.exists()


def test_the_database_gives_nothing_back_without_a_receipt_of_the_case(
    facility: Facility, clerk: StaffMember
) -> None:
    case, other = cast.make_case(facility), cast.make_case(facility)
    put(case, clerk, RING, RING)
    put(other, clerk, RING)
    back(other, clerk)
    row = {
        "thing_id": things.due(case)[0].pk, "returned_to": "A", "identification": "B",
        "returned_at": clock.now(),
    }  # fmt: skip
    for receipt in (None, ThingsReceipt.objects.get().pk):
        with raw.refuses("on a receipt of its case"):
            raw.insert("cases_thingreturned", receipt_id=receipt, **row)
    blank = {"case_id": case.pk, "reason": "", "meaning": "", "signed_at": clock.now()}
    for form, constraint in (
        ("tablet", "things_receipt_drawn_on_tablet"),
        ("paper", "things_receipt_signed_or_why_not"),
        ("unsigned", "things_receipt_signed_or_why_not"),
    ):
        with raw.refuses(constraint):
            raw.insert("cases_thingsreceipt", form=form, **blank)
    scan = ThingsReceipt.objects.get()
    with raw.refuses("written once"):
        raw.run("UPDATE cases_thingsreceipt SET reason = 'another' WHERE id = %s", scan.pk)


def test_the_receipt_of_the_release_names_what_went_with_it(case: Case) -> None:
    before("release", case)
    with clock.pinned(cast.time_of("release", case)):
        cast.list_ring(case)
    clerk = cast.member(case.facility, cast.CLERK)
    blank = _text(papers.print_for(case, papers.KINDS["release_form"], clerk))
    assert "Personal things handed over with it wedding ring" in blank
    attempt("release", case, things_are_given=True)
    done = _text(papers.print_for(case, papers.KINDS["release"], clerk))
    assert "Personal things handed over with it wedding ring" in done
    assert "and the personal things listed" in done
    assert ThingsReceipt.objects.get().form == "with_receipt"


def test_a_thing_sent_twice_is_given_back_once(facility: Facility, clerk: StaffMember) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    put(case, clerk, RING)
    data = handing_over(case, clerk, way="unsigned", unsigned_reason="She left.")
    data["things"] = data["things"] * 2
    assert client.post(url("give-back", case), data).status_code == 302
    assert len(things.given(case)) == 1


def test_the_step_asks_for_the_things_only_where_some_lie_here(case: Case) -> None:
    cast.bring(case, "contained")
    client = browser(cast.member(case.facility, cast.CLERK))
    assert "things_are_given" not in text_of(client, url("step", case, "release"))
    cast.list_ring(case)
    page = text_of(client, url("step", case, "release"))
    assert "things_are_given" in page
    assert "wedding ring (safe)" in page


@pytest.mark.parametrize("page", ["case", "things", "give-back"])
def test_queries_do_not_grow_with_the_things(
    facility: Facility, clerk: StaffMember, page: str
) -> None:
    case, client = cast.make_case(facility), browser(clerk)
    counts = []
    for _ in range(2):
        put(case, clerk, *[RING] * 4, SHAWL)
        with CaptureQueriesContext(connection) as asked:
            text_of(client, url(page, case))
        counts.append(len(asked))
    assert counts[0] == counts[1]


# The receipt


def test_the_receipts_name_what_who_and_when(facility: Facility, clerk: StaffMember) -> None:
    case = cast.make_case(facility)
    for kind in ("things_form", "things"):
        with pytest.raises(PrintRefused):
            papers.print_for(case, papers.KINDS[kind], clerk)
    put(case, clerk, RING, SHAWL)
    blank = _text(papers.print_for(case, papers.KINDS["things_form"], clerk))
    assert "wedding ring" in blank
    assert "safe, envelope 14" in blank
    assert "shawl" not in blank
    back(case, clerk, returned_to="Čeněk Příjemce")
    done = _text(papers.print_for(case, papers.KINDS["things"], clerk))
    for words in ("wedding ring", "Čeněk Příjemce", "driver licence", "Clara Clerk"):
        assert words in done
    with pytest.raises(PrintRefused):
        papers.print_for(case, papers.KINDS["things_form"], clerk)


def _text(paper: Any) -> str:
    pages = PdfReader(BytesIO(read_paper(paper))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())
