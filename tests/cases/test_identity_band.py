"""After a correction of who the person is, two persons compare the identity band again."""

from datetime import date, timedelta
from typing import Any

import pytest

from cases import acts
from cases.corrections import correct
from cases.errors import ActRefused
from cases.identity import NOT_READ, BandDate
from cases.models import Case
from cases.steps import ORDER, STEPS
from chain_of_custody.models import CustodyEntry
from chain_of_custody.trail import facts_of
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility, StaffMember
from tests import cast
from tests.attempts import attempt, before, refusal
from tests.cases.pages import browser, signed, text_of, url

NEW_NAME = "Ada Exemple"
GATED = [verb for verb in STEPS if "band_compared" in STEPS[verb].gates]


def correct_at(case: Case, at: Any, field: str = "decedent_name", value: Any = NEW_NAME) -> None:
    manager = cast.signature(cast.member(case.facility, cast.MANAGER))
    with clock.pinned(at):
        correct(case, manager, cast.token(), field, value, "misheard")
    case.refresh_from_db()


def compare(
    case: Case, at: Any, reads: str = NEW_NAME, band: BandDate = NOT_READ, **who: str
) -> CustodyEntry:
    keys = {"signed_by": cast.OPERATOR, "witness": cast.SECOND_OPERATOR, **who}
    first, second = (
        cast.signature(cast.member(case.facility, keys[role])) for role in ("signed_by", "witness")
    )
    with clock.pinned(at):
        return acts.compare_band(case, first, second, cast.token(), reads, band)


def test_each_step_from_the_receipt_to_the_charge_asks() -> None:
    asking = [verb for verb in ORDER if "band_compared" in STEPS[verb].gates]
    assert asking == list(ORDER[1 : ORDER.index("charge") + 1])
    assert "return_uncremated" in GATED


@pytest.mark.parametrize("verb", GATED)
@pytest.mark.parametrize(
    ("field", "value"), [("decedent_name", NEW_NAME), ("born_on", date(1942, 5, 6))]
)
def test_nobody_goes_on_until_the_band_was_compared(
    case: Case, verb: str, field: str, value: Any
) -> None:
    before(verb, case)
    at = cast.time_of(verb, case)
    correct_at(case, at, field, value)
    refused = refusal(verb, case)
    assert refused.codes[0] == "band_compared"
    assert "was corrected on" in refused.text
    assert "compare the identity band again" in refused.text
    compare(case, at, case.decedent_name, BandDate(case.born_on))
    if verb == "charge":  # the label is superseded too
        with clock.pinned(at):
            cast.make_label(case)
    assert attempt(verb, case).stage_to == STEPS[verb].stage_to


def test_a_correction_before_the_receipt_is_compared_by_the_receipt(facility: Facility) -> None:
    case = cast.make_case(facility)
    correct_at(case, case.stage_since)
    cast.bring(case, "authorized")


def test_a_correction_of_something_else_asks_for_no_band(case: Case) -> None:
    before("authorize", case)
    correct_at(case, cast.time_of("authorize", case), "sender", "Another House")
    assert attempt("authorize", case).stage_to == "authorized"


def test_a_second_correction_asks_again(case: Case) -> None:
    before("authorize", case)
    at = cast.time_of("authorize", case)
    correct_at(case, at)
    compare(case, at)
    correct_at(case, at, value="Ada Example")
    assert refusal("authorize", case).codes == ["band_compared"]


@pytest.mark.parametrize(
    ("who", "code"),
    [
        ({"witness": cast.OPERATOR}, "witness_same"),
        ({"signed_by": cast.MANAGER}, "role"),
    ],
)
def test_two_different_persons_compare(case: Case, who: dict[str, Any], code: str) -> None:
    before("authorize", case)
    with pytest.raises(ActRefused) as caught:
        compare(case, cast.time_of("authorize", case), "Ada Example", **who)
    assert caught.value.code == code


def test_a_witness_is_needed(case: Case, operator: StaffMember) -> None:
    before("authorize", case)
    with pytest.raises(ActRefused) as caught:
        acts.compare_band(case, cast.signature(operator), None, cast.token(), "Ada Example")
    assert caught.value.code == "witness_missing"


def test_a_band_that_reads_otherwise_settles_nothing(case: Case) -> None:
    before("authorize", case)
    at = cast.time_of("authorize", case)
    correct_at(case, at)
    with pytest.raises(ActRefused) as caught:
        compare(case, at, "Ada Example")
    assert caught.value.code == "band_differs"
    assert refusal("authorize", case).codes == ["band_compared"]


def test_a_corrected_date_of_birth_is_read_from_the_band_too(case: Case) -> None:
    before("authorize", case)
    at, right = cast.time_of("authorize", case), date(1942, 5, 6)
    correct_at(case, at, "born_on", right)
    for band, code in (
        (NOT_READ, "band_date_missing"),
        (BandDate(right, is_absent=True), "band_date_missing"),
        (BandDate(date(1941, 5, 6)), "band_differs"),
        (BandDate(is_absent=True), "band_date_manager"),
    ):
        with pytest.raises(ActRefused) as caught:
            compare(case, at, "Ada Example", band)
        assert caught.value.code == code
    correct_at(case, at)  # a name corrected afterwards does not hide the date
    with pytest.raises(ActRefused) as caught:
        compare(case, at)
    assert caught.value.code == "band_date_missing"
    entry = compare(case, at, band=BandDate(right))
    assert facts_of(entry) == {"band_reads": NEW_NAME, "born_on": "1942-05-06"}
    assert "1942" not in entry.payload
    assert attempt("authorize", case).stage_to == "authorized"


def test_where_the_band_shows_no_date_a_manager_is_one_of_the_two(case: Case) -> None:
    before("authorize", case)
    at = cast.time_of("authorize", case)
    correct_at(case, at, "born_on", date(1942, 5, 6))
    entry = compare(case, at, "Ada Example", BandDate(is_absent=True), witness=cast.MANAGER)
    assert facts_of(entry)["band_shows_no_birth"] is True
    assert attempt("authorize", case).stage_to == "authorized"


def test_a_date_of_birth_that_is_not_known_is_on_no_band(case: Case) -> None:
    before("authorize", case)
    at = cast.time_of("authorize", case)
    correct_at(case, at, "born_on", None)
    assert (
        "band_shows_no_birth" in compare(case, at, "Ada Example", BandDate(is_absent=True)).payload
    )


def test_what_the_band_reads_is_sealed_and_the_trail_holds(case: Case) -> None:
    before("authorize", case)
    at = cast.time_of("authorize", case)
    correct_at(case, at)
    entry = compare(case, at)
    assert facts_of(entry) == {"band_reads": NEW_NAME}
    assert NEW_NAME not in entry.payload
    assert (entry.signed_by_id, entry.witness_id) == tuple(
        cast.member(case.facility, key).pk for key in (cast.OPERATOR, cast.SECOND_OPERATOR)
    )
    assert verify(case.facility).findings == []


@pytest.mark.parametrize("stage", ["expected", "in_retort", "released"])
def test_before_the_receipt_and_after_the_charge_no_band_is_compared(
    facility: Facility, stage: str
) -> None:
    case = cast.bring(cast.make_case(facility), stage)
    with pytest.raises(ActRefused) as caught:
        compare(case, case.stage_since + timedelta(minutes=1), "Ada Example")
    assert caught.value.code == "stage"


def test_after_the_charge_the_correction_is_marked_and_the_disc_leads_on(
    facility: Facility,
) -> None:
    case = cast.bring(cast.make_case(facility), "in_retort")
    correct_at(case, case.stage_since + timedelta(minutes=1))
    entry = case.entries.get(act="correct")
    assert facts_of(entry)["after_charge"] is True
    cast.bring(case, "released")
    earlier = cast.bring(cast.make_case(facility), "in_care")
    correct_at(earlier, earlier.stage_since)
    assert "after_charge" not in facts_of(earlier.entries.get(act="correct"))


def test_the_page_leads_to_the_comparison_and_records_it(
    facility: Facility, operator: StaffMember
) -> None:
    case, client = cast.bring(cast.make_case(facility), "in_care"), browser(operator)
    assert url("band", case) not in text_of(client, url("case", case))
    correct_at(case, case.stage_since)
    page = text_of(client, url("case", case))
    assert "compare the identity band again" in page
    assert url("band", case) in page
    assert "Two persons" in text_of(client, url("band", case))
    data = {"band_reads": "ada exemple", "token": cast.token()} | signed(operator)
    wrong = client.post(url("band", case), data | {"witness_code": "X", "witness_pin": "1"})
    assert wrong.status_code == 403
    second = cast.member(facility, cast.SECOND_OPERATOR)
    assert client.post(url("band", case), data | signed(second, "witness")).status_code == 302
    assert url("band", case) not in text_of(client, url("case", case))
    correct_at(case, case.stage_since, "born_on", date(1942, 5, 6))
    data["token"] = cast.token()
    data |= signed(second, "witness")
    assert "read it from the band too" in client.post(url("band", case), data).content.decode()
    assert client.post(url("band", case), data | {"born_on": "1942-05-06"}).status_code == 302
    assert "Identity band compared" in text_of(client, url("trail", case))


def test_who_corrects_a_name_is_told_of_the_band(facility: Facility, manager: StaffMember) -> None:
    case, client = cast.bring(cast.make_case(facility), "in_care"), browser(manager)
    address = url("correct", case) + "?field="
    assert "compare the identity band again" in text_of(client, address + "decedent_name")
    assert "identity band" not in text_of(client, address + "sender")
    later = cast.bring(case, "in_retort")
    assert "the disc is the identity" in text_of(client, url("correct", later) + "?field=born_on")
