"""The label is proved, not the case number: printed, newest, not superseded, with the disc."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from cases import papers, scans
from cases.corrections import correct
from cases.errors import ActRefused
from cases.gates import Situation, ask_all
from cases.models import Case
from cases.papers import KINDS
from cases.relabel import relabel
from cases.search import by_number
from cases.steps import STEPS
from cases.taking import take
from chain_of_custody.models import CustodyEntry, Paper
from chain_of_custody.press import PrintRefused, read_paper
from chain_of_custody.trail import facts_of
from chain_of_custody.typesetter import PressUnavailable
from crematory import clock
from crematory.check_character import with_check
from crematory.models import Facility, StaffMember
from tests import cast
from tests.attempts import attempt, before, refusal
from tests.cases.pages import browser, signed, url

PAPER = with_check("K7QM-2XHD")
CASE = with_check("QV26-00042")


@pytest.mark.parametrize(
    ("scan", "read"),
    [
        (f"CASE/{CASE}/{PAPER}", scans.Label(PAPER, CASE)),
        (f" case/{CASE}/{PAPER}\r\n".lower(), scans.Label(PAPER, CASE)),
        (PAPER, scans.Label(PAPER)),
        (PAPER.replace("-", "").lower(), scans.Label(PAPER)),
        (CASE, None),
        (f"CASE/{CASE}", None),
        (f"CASE/{CASE}/", None),
        (f"CASE/{PAPER}", None),
        (f"CASE/{CASE[:-1]}?/{PAPER}", None),
        (f"CASE/{CASE}/{PAPER[:-1]}{'A' if PAPER[-1] != 'A' else 'B'}", None),
        (f"CASE/{CASE}/{PAPER}/{PAPER}", None),
        (f"DISC/{CASE}/{PAPER}", None),
        ("DISC/4711", None),
        ("K7QM-2XHD-٩", None),
        ("", None),
        ("/", None),
    ],
)
def test_a_label_is_read_with_both_check_characters(scan: str, read: scans.Label | None) -> None:
    assert scans.label(scan) == read


def test_every_paper_number_can_be_typed(case: Case) -> None:
    cast.bring(case, "in_care")
    for _ in range(20):
        number = cast.make_label(case).number
        assert scans.label(number) == scans.Label(number)
        assert scans.label(scans.Label(number, case.number).code) == scans.Label(
            number, case.number
        )


def tagged(facility: Facility) -> Case:
    return before("charge", cast.make_case(facility))


def why(verb: str, case: Case, **given: Any) -> Any:
    """Return the one gate that refuses the step."""
    verdicts = refusal(verb, case, **given).verdicts
    assert len(verdicts) == 1, verdicts
    assert verdicts[0].gate in ("label_scanned", "label_disc_scanned")
    return verdicts[0]


def other_label(facility: Facility, **fields: Any) -> Paper:
    return cast.make_label(cast.bring(cast.make_case(facility, **fields), "tagged"))


@pytest.mark.parametrize("typed", [False, True], ids=["scanned", "typed"])
def test_the_code_or_the_typed_number_proves_the_label(facility: Facility, typed: bool) -> None:
    case = tagged(facility)
    number = case.papers.get().number
    scan = number.lower().replace("-", "") if typed else f"CASE/{case.number}/{number}"
    assert facts_of(attempt("charge", case, label_scan=scan))["label_scan"] == number


def test_a_case_number_alone_proves_nothing(facility: Facility) -> None:
    case = tagged(facility)
    for scan in (case.number, f"CASE/{case.number}", f"case/{case.number}/"):
        verdict = why("charge", case, label_scan=scan)
        assert "This is a case number, not a label: scan the code on the label" in verdict.reason
        assert not verdict.is_wrong_person


def test_without_a_label_no_charge(facility: Facility) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    with clock.pinned(cast.time_of("charge", case)):
        cast.read(cast.free_retort(case), cast.HOT)
    assert "No label was printed for this person" in why("charge", case).reason
    assert "No label was printed" in why("charge", case, label_scan=PAPER).reason


def test_another_persons_label_stops_everything_and_names_nobody(facility: Facility) -> None:
    case, theirs = tagged(facility), other_label(facility, decedent_name="Boris Stranger")
    for scan in (
        theirs.number,
        scans.Label(theirs.number, theirs.case.number).code,
        scans.Label(theirs.number, case.number).code,
        scans.Label(case.papers.get().number, theirs.case.number).code,
        theirs.case.number,
        PAPER,
    ):
        verdict = why("charge", case, label_scan=scan)
        assert verdict.is_wrong_person, scan
        assert "WRONG LABEL" in verdict.reason
        assert "Boris" not in verdict.reason


def test_a_label_of_another_house_is_a_wrong_one(
    facility: Facility, other_facility: Facility
) -> None:
    theirs = other_label(other_facility)
    assert why("charge", tagged(facility), label_scan=theirs.number).is_wrong_person


def test_another_paper_of_this_person_is_no_label(
    facility: Facility, operator: StaffMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = tagged(facility)
    monkeypatch.setattr("chain_of_custody.press.typesetter.typeset", _no_type)
    receipt = papers.print_for(case, KINDS["receipt"], operator)
    verdict = why("charge", case, label_scan=receipt.number)
    assert "another paper of this person" in verdict.reason
    assert not verdict.is_wrong_person


def _no_type(html: str) -> Any:
    from chain_of_custody.typesetter import Typeset

    return Typeset(html.encode(), ())


def test_an_older_label_is_refused(facility: Facility) -> None:
    case = tagged(facility)
    old = case.papers.get()
    cast.make_label(case)
    assert "an older one" in why("charge", case, label_scan=old.number).reason
    assert attempt("charge", case).stage_to == "in_retort"


def test_a_label_from_before_the_disc_is_refused(facility: Facility) -> None:
    case = cast.bring(cast.make_case(facility), "cleared")
    early = cast.make_label(case)
    assert "none yet: not for the charge" in read_paper(early).decode()
    cast.bring(case, "tagged")
    with clock.pinned(cast.time_of("charge", case)):
        cast.read(cast.free_retort(case), cast.HOT)
    assert "printed before the disc was fixed" in why("charge", case).reason
    cast.make_label(case)
    assert attempt("charge", case).stage_to == "in_retort"


def correct_name(case: Case) -> CustodyEntry:
    with clock.pinned(cast.time_of("charge", case)):
        manager = cast.signature(cast.member(case.facility, cast.MANAGER))
        entry = correct(case, manager, cast.token(), "decedent_name", "Ada Exempla", "misheard")
    case.refresh_from_db()
    return entry


def test_after_a_corrected_name_a_new_label_is_needed(facility: Facility) -> None:
    case = tagged(facility)
    old = case.papers.get()
    correct_name(case)
    cast.compare_band(case)
    verdict = why("charge", case)
    assert f"Label {old.number} is superseded" in verdict.reason
    assert "print a new label" in verdict.who
    new = cast.make_label(case)
    assert "superseded" in why("charge", case, label_scan=old.number).reason
    assert new.facts["replaces"].startswith(f"paper {old.number}, superseded by a correction on")
    assert "Ada Exempla" in read_paper(new).decode()
    assert attempt("charge", case).stage_to == "in_retort"


def verdict_before(case: Case, verb: str, gate: str) -> Any:
    """The gate as the page shows it before anybody has scanned."""
    verdicts = ask_all(Situation(case=case, step=STEPS[verb], now=clock.now()))
    return next(v for v in verdicts if v.gate == gate)


def test_the_page_tells_before_the_scan_that_a_label_is_missing(facility: Facility) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    assert verdict_before(case, "charge", "label_scanned").state == "refused"
    cast.make_label(case)
    assert verdict_before(case, "charge", "label_scanned").state == "asked"
    correct_name(case)
    assert "superseded" in verdict_before(case, "charge", "label_scanned").reason


def test_no_gate_says_beforehand_what_a_scan_should_read(facility: Facility) -> None:
    case = tagged(facility)
    for verb in ("charge", "burner_off", "recover", "process", "contain", "release"):
        with clock.pinned(cast.time_of(verb, case)):
            cast.prepare(verb, case)
            verdicts = ask_all(Situation(case=case, step=STEPS[verb], now=clock.now()))
        shown = " ".join(f"{v.title} {v.reason} {v.who}" for v in verdicts)
        assert case.disc.number not in shown, verb
        assert not any(paper.number in shown for paper in case.papers.all()), verb
        cast.do(verb, case)


def test_each_container_of_remains_carries_a_label_of_its_own(facility: Facility) -> None:
    case = before("contain", cast.make_case(facility))
    half = cast.MASS_KG / 2
    good = cast.urn(case, mass_kg=half)
    old = case.papers.order_by("copy")[0].number
    for bad, words in {
        old: "on the container that was cremated",
        good.label_scan: "this label was read on container 1 already",
        case.number: "This is a case number, not a label",
        case.disc.number: "is not a label",
    }.items():
        pair = (good, cast.urn(case, mass_kg=half, label_scan=bad))
        verdict = why("contain", case, containers=pair)
        assert verdict.reason.startswith("Container 2: ")
        assert words in verdict.reason
    with clock.pinned(cast.time_of("contain", case)):
        other = cast.urn(case, mass_kg=half, label_scan=cast.own_label(case))
    entry = attempt("contain", case, containers=(good, other))
    own = [scans.label(c.label_scan).paper_number for c in (good, other)]  # type: ignore[union-attr]
    assert len({*own}) == 2
    assert [c["label_scan"] for c in facts_of(entry)["containers"]] == own
    facts = papers.paper_facts.release(case)
    assert [c["label"] for c in facts["containers"]] == own


def test_the_label_of_the_burnt_container_does_not_serve_for_the_remains(
    facility: Facility,
) -> None:
    """Also where the charge is stated with a time before the label was recorded."""
    case = cast.bring(cast.make_case(facility), "tagged")
    minute = cast.time_of("charge", case).replace(second=0, microsecond=0)
    with clock.pinned(minute + timedelta(seconds=5)):
        cast.read(cast.free_retort(case), cast.HOT)
    with clock.pinned(minute + timedelta(seconds=30)):
        cast.make_label(case)
    with clock.pinned(minute + timedelta(seconds=50)):
        facts = cast.facts_for("charge", case, happened_at=minute)
        take("charge", case, facts, **cast.signers("charge", case), token=cast.token())
    case.refresh_from_db()
    assert case.stage_since >= case.papers.get().printed_at
    case = before("contain", case, prepared=False)
    assert "on the container that was cremated" in why("contain", case).reason
    with clock.pinned(cast.time_of("contain", case)):
        cast.make_label(case)
    assert attempt("contain", case).stage_to == "contained"


def test_another_persons_label_on_a_container_stops_everything(facility: Facility) -> None:
    case = before("contain", cast.make_case(facility))
    urn = cast.urn(case, label_scan=other_label(facility).number)
    assert why("contain", case, containers=(urn,)).is_wrong_person


def test_a_label_by_hand_is_a_paper_as_any_other(facility: Facility, operator: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")
    label = cast.make_label(case)
    facts = facts_of(label.entry)
    assert (label.entry.act, facts["by_hand"], facts["copy"]) == ("print", True, 1)
    assert facts["sha256"] == label.sha256
    assert read_paper(label).decode().splitlines() == [
        "Ada Example",
        "1941–2024",
        f"Case {case.number}",
        f"Disc {case.disc.number}",
        f"Paper {label.number}",
        "Sent by Example Funeral Home",
        "In the care of Quiet Valley Crematory",
    ]
    with pytest.raises(PrintRefused, match="cannot be written by hand"):
        papers.print_for(case, KINDS["receipt"], operator, by_hand=True)


def test_a_name_is_written_by_hand_as_it_is(facility: Facility) -> None:
    case = cast.bring(cast.make_case(facility, decedent_name="Ådå O'Hara & <Søn>"), "in_care")
    assert read_paper(cast.make_label(case)).decode().splitlines()[0] == "Ådå O'Hara & <Søn>"


def test_where_nothing_can_be_printed_the_label_is_made_by_hand(
    facility: Facility, operator: StaffMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = cast.bring(cast.make_case(facility), "tagged")

    def broken(html: str) -> Any:
        raise PressUnavailable("no Pango here")

    monkeypatch.setattr("chain_of_custody.press.typesetter.typeset", broken)
    label = papers.make_label(case, operator, cast.token())
    assert label.facts["by_hand"] is True
    page = browser(operator).post(url("print", case, "label"), {"token": "t"}, follow=True)
    assert "write the label by hand" in page.content.decode()


def test_the_page_shows_in_large_letters_what_to_write(
    facility: Facility, operator: StaffMember, other_operator: StaffMember
) -> None:
    case, client = cast.bring(cast.make_case(facility), "tagged"), browser(operator)
    shown = client.post(url("write", case, "label"), {"token": "t-1"}, follow=True)
    again = client.post(url("write", case, "label"), {"token": "t-1"}, follow=True)
    label = case.papers.get()
    assert shown.redirect_chain == again.redirect_chain
    text = shown.content.decode()
    assert 'class="by-hand"' in text
    assert f"Disc {case.disc.number}" in text
    plain = client.get(url("paper-text", case, label.number))
    assert plain["Content-Type"] == "text/plain; charset=utf-8"
    assert plain["Content-Disposition"] == f'inline; filename="{label.number}.txt"'
    assert plain.content == read_paper(label)
    as_pdf = client.get(url("paper", case, label.number))
    assert as_pdf["Location"] == url("by-hand", case, label.number)
    assert "by hand" in client.get(url("case", case)).content.decode()
    assert browser(other_operator).get(url("by-hand", case, label.number)).status_code == 404
    assert client.post(url("write", case, "poem")).status_code == 404


def test_a_label_by_hand_puts_a_printed_one_out_of_use_only_when_confirmed(
    facility: Facility, operator: StaffMember
) -> None:
    case, client = cast.bring(cast.make_case(facility), "tagged"), browser(operator)
    printed = papers.print_for(case, papers.KINDS["label"], operator)
    asked = client.post(url("write", case, "label"), {"token": "t-1"})
    assert asked.status_code == 200
    text = asked.content.decode()
    assert f"The label {printed.number} is out of use from then on" in text
    assert f'value="{"t-1"}"' in text
    assert list(case.papers.all()) == [printed]
    sure = {"token": "t-1", "is_confirmed": "1"}
    shown = client.post(url("write", case, "label"), sure, follow=True)
    assert 'class="by-hand"' in shown.content.decode()
    again = client.post(url("write", case, "label"), {"token": "t-1"}, follow=True)
    assert again.redirect_chain == shown.redirect_chain  # sent before: it is not asked again
    assert case.papers.count() == 2


def test_after_the_charge_a_label_by_hand_is_one_more_and_asks_nothing(
    facility: Facility, operator: StaffMember
) -> None:
    case = cast.bring(cast.make_case(facility), "processed")
    client = browser(operator)
    answer = client.post(url("write", case, "label"), {"token": "t-1"}, follow=True)
    assert 'class="by-hand"' in answer.content.decode()


def send(client: Any, case: Case, verb: str, **typed: Any) -> Any:
    operators = (cast.member(case.facility, key) for key in (cast.OPERATOR, cast.SECOND_OPERATOR))
    first, second = operators
    data = {"token": cast.token(), **signed(first), **signed(second, "witness"), **typed}
    with clock.pinned(cast.time_of(verb, case)):
        return client.post(url("step", case, verb), data, follow=True)


def charge(case: Case, label_scan: str) -> dict[str, Any]:
    return {
        "retort": cast.free_retort(case).pk,
        "disc_scan": case.disc.number,
        "label_scan": label_scan,
        "chamber_is_empty": "on",
    }


def test_only_another_persons_label_fills_the_screen(
    facility: Facility, operator: StaffMember
) -> None:
    case, client = tagged(facility), browser(operator)
    wrong = send(client, case, "charge", **charge(case, other_label(facility).number))
    assert wrong.status_code == 409
    assert 'class="refusal-screen"' in wrong.content.decode()
    own = send(client, case, "charge", **charge(case, case.number))
    assert own.status_code == 409
    assert 'class="refusal-screen"' not in own.content.decode()
    assert "This is a case number, not a label" in own.content.decode()


def test_tagging_leads_to_the_label_with_the_disc(
    facility: Facility, operator: StaffMember
) -> None:
    case, client = cast.bring(cast.make_case(facility), "cleared"), browser(operator)
    page = send(
        client, case, "assign_disc", disc_number="77", disc_number_again="77", is_attached="on"
    )
    text = page.content.decode()
    assert "Now print the label with the disc" in text
    assert "Print the label with the disc" in text
    assert f'action="{url("print", case, "label")}" target="_blank" rel="noopener"' in text
    case.refresh_from_db()
    cast.make_label(case)
    assert "Print the label with the disc" not in client.get(url("case", case)).content.decode()


def not_beside(text: str, case: Case) -> None:
    assert "data-scan" in text
    assert case.disc.number not in text


@pytest.mark.parametrize("verb", ["charge", "recover", "contain"])
def test_the_form_does_not_show_what_is_to_be_scanned(
    facility: Facility, operator: StaffMember, verb: str
) -> None:
    case = before(verb, cast.make_case(facility))
    text = browser(operator).get(url("step", case, verb)).content.decode()
    not_beside(text, case)
    newest = case.papers.order_by("-copy")[0].number
    assert newest not in text


@pytest.mark.parametrize(
    "typed",
    [
        lambda paper: paper.number,
        lambda paper: paper.number.lower().replace("-", ""),
        lambda paper: scans.Label(paper.number, paper.case.number).code,
    ],
)
def test_a_paper_number_opens_its_case(
    facility: Facility,
    operator: StaffMember,
    other_operator: StaffMember,
    typed: Callable[[Paper], str],
) -> None:
    case = cast.bring(cast.make_case(facility), "in_care")
    paper = cast.make_label(case)
    assert by_number(facility, typed(paper)) == case
    assert by_number(other_operator.facility, typed(paper)) is None


def test_remains_are_not_released_under_superseded_labels(
    facility: Facility, operator: StaffMember
) -> None:
    case, half = before("contain", cast.make_case(facility)), cast.MASS_KG / 2
    first = cast.urn(case, mass_kg=half)
    with clock.pinned(cast.time_of("contain", case)):
        second = cast.urn(case, mass_kg=half, label_scan=cast.own_label(case))
    attempt("contain", case, containers=(first, second))
    case.refresh_from_db()
    with clock.pinned(case.stage_since + timedelta(minutes=5)):
        manager = cast.signature(cast.member(facility, cast.MANAGER))
        correct(case, manager, cast.token(), "sender", "Another House", "misheard")
    verdict = refusal("release", case).verdicts[0]
    assert (verdict.gate, verdict.is_wrong_person) == ("labels_stand", False)
    assert "The label on container 1, 2 is superseded" in verdict.reason

    client = browser(operator)
    assert url("relabel", case) in client.get(url("case", case)).content.decode()
    with clock.pinned(case.stage_since + timedelta(minutes=10)):
        new = [cast.own_label(case), cast.own_label(case)]
    for bad in ((new[0], new[0]), (new[0], second.label_scan), (new[0], case.number)):
        sent = dict(zip(("label_1", "label_2"), bad, strict=True))
        refused = client.post(
            url("relabel", case), {"token": cast.token(), **sent, **signed(operator)}
        )
        assert refused.status_code == 409
    assert refusal("release", case).codes == ["labels_stand"]
    good = {"token": cast.token(), "label_1": new[0], "label_2": new[1], **signed(operator)}
    with clock.pinned(case.stage_since + timedelta(minutes=12)):
        assert client.post(url("relabel", case), good).status_code == 302
    entry = case.entries.get(act="relabel", outcome="done")
    numbers = [scan.split("/")[-1] for scan in new]
    assert facts_of(entry) == {"containers": [{"label_scan": n} for n in numbers]}
    assert [c["label"] for c in papers.paper_facts.release(case)["containers"]] == numbers
    assert attempt("release", case).stage_to == "released"


def test_only_containers_on_the_shelf_are_labelled_anew(
    facility: Facility, operator: StaffMember, manager: StaffMember
) -> None:
    case = before("contain", cast.make_case(facility))
    for stage, who, code in (
        ("processed", operator, "stage"),
        ("contained", manager, "role"),
        ("contained", operator, "labels_unread"),
    ):
        cast.bring(case, stage)
        with pytest.raises(ActRefused) as caught:
            relabel(case, cast.signature(who), cast.token(), [])
        assert caught.value.code == code
