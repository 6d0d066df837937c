"""The run sheet, read back from the paper itself by a program that did not make it."""

import io
from datetime import timedelta
from pathlib import Path
from typing import Any

import pikepdf
import pytest

from cases import corrections, papers, run_sheet
from cases.models import Case
from cases.papers import KINDS
from chain_of_custody import press, trail
from chain_of_custody.models import CustodyEntry, Paper
from chain_of_custody.press import PrintRefused
from crematory import clock
from crematory.models import StaffMember
from retort_log import settling
from retort_log.models import Run
from tests import cast
from tests.burned import GAP, burn
from tests.cases.test_papers import assert_says, read
from tests.retort_log.test_recorded import keep, series

pytestmark = pytest.mark.django_db
REASON = "Charge repositioned; burner set point raised."


@pytest.fixture(autouse=True)
def papers_dir(tmp_path: Path, settings: Any) -> None:
    settings.PAPERS_DIR = tmp_path / "papers"


@pytest.fixture
def run(case: Case) -> Run:
    return burn(case, every_s=10)


def sheet_of(run: Run, by: StaffMember) -> tuple[Paper, bytes]:
    paper = papers.print_for(Case.objects.get(pk=run.case_id), KINDS["run_sheet"], by)
    return paper, press.read_paper(paper)


def test_it_says_all_of_the_run(run: Run, manager: StaffMember) -> None:
    (dip,) = settling.open_of(run, run.case.stage_since)
    settling.settle(run, dip.digest, cast.signature(manager), REASON)
    paper, data = sheet_of(run, manager)
    text = read(data).replace("\xa0", " ")
    entry = CustodyEntry.objects.get(case=run.case_id, act="burner_off", outcome="done")
    assert_says(
        text,
        "Run sheet",
        paper.number,
        "Ada Example, 1941–2024",
        f"Case {run.case.number} · disc {run.case.disc.number}",
        "Retort Retort 1",
        "Permit to operate PERMIT-1, Permit of the county; invented for the tests",
        "Charged Mon 4 Mar 2024 11:30 MST",
        "Temperature at the charge 1,616 °F (880 °C), secondary chamber",
        "Mass with container 179.7 lb (81.5 kg)",
        "Burner off Mon 4 Mar 2024 13:20 MST",
        "Recovered Mon 4 Mar 2024 22:20 MST",
        "Olive Operator (QVO1); witness Oscar Operator (QVO2)",
        "Remains repositioned with the long rake",
        "logger without power",
        "Breach Gap in the record. The secondary chamber's record has a gap of 6",
        "12:29–12:36",
        "Settled by Mabel Manager, Mon 4 Mar 2024 13:20 MST: The logger lost power",
        "Secondary chamber below its minimum.",
        REASON,
        "Permit, condition 4 (as the house read or chose it)",
        "lowest secondary",
        "highest primary",
        f"in entry {entry.sequence} of the trail (of {trail.facts_of(entry)['series_count']})",
        run.series_sha256,
        "the readings still gave the same SHA-256",
        "manage.py verify_trail",
        "Caution:",
        "Check with the authority.",
        # Of the drawing:
        "secondary, at the charge and while burning: at least 1,600 °F",
        "Secondary chamber Primary chamber",
    )
    assert "Not settled" not in text
    assert "None" not in text


def test_it_says_what_is_not_settled_and_what_came_since(run: Run, clerk: StaffMember) -> None:
    start = run.charged_at + timedelta(minutes=GAP[0])
    late = series(start + timedelta(seconds=5), [(1500.0, 1690.0)] * 5)
    with clock.pinned(run.case.stage_since):
        keep(run.retort, clerk, late, kept_at=run.case.stage_since)
        _, data = sheet_of(run, clerk)
    assert_says(
        read(data),
        "Not settled by a manager when this was printed.",
        "Readings came in or were put right since",
        "The file “log.csv” of logger was taken in Mon 4 Mar 2024 22:20 MST by Clara Clerk.",
    )


def test_a_correction_of_the_name_supersedes_it_and_the_next_copy_says_so(
    run: Run, manager: StaffMember
) -> None:
    paper, _ = sheet_of(run, manager)
    signed = cast.signature(manager)
    case = Case.objects.get(pk=run.case_id)
    corrections.correct(case, signed, cast.token(), "decedent_name", "Adah Example", "misheard")
    paper.refresh_from_db()
    assert paper.superseded
    again, data = sheet_of(run, manager)
    assert again.copy == 2
    assert_says(read(data), "Adah Example", f"Replaces paper {paper.number}")


def test_it_waits_for_burner_off(case: Case, clerk: StaffMember) -> None:
    cast.bring(case, "in_retort")
    with pytest.raises(PrintRefused, match="cannot be printed"):
        papers.print_for(case, KINDS["run_sheet"], clerk)
    cast.bring(case, "cooling")
    _, data = sheet_of(Run.objects.get(case=case), clerk)
    assert_says(read(data), "Recovered not yet when this was printed")


def test_the_chart_is_a_drawing_with_words_for_those_who_do_not_see_it(
    run: Run, clerk: StaffMember
) -> None:
    _, data = sheet_of(run, clerk)
    with pikepdf.open(io.BytesIO(data)) as pdf:
        alts = [
            str(o.Alt) for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and "/Alt" in o
        ]
        pictures = [
            o for o in pdf.objects
            if isinstance(o, pikepdf.Stream) and o.get("/Subtype") == "/Image"
        ]  # fmt: skip
    assert alts == ["Temperatures of the run in Retort 1"]
    assert pictures == []  # lines, not dots


def test_a_row_a_quarter_hour_and_no_more(run: Run) -> None:
    rows = run_sheet.facts(run.case)["rows"]
    hours = (run.ended_at or run.charged_at) - run.charged_at + timedelta(minutes=15)
    marked = [row for row in rows if row["note"]]
    assert len(marked) == 4
    assert len(rows) <= hours / timedelta(minutes=15) + 2 + len(marked)
    assert all(row["secondary"] and row["primary"] for row in rows)
