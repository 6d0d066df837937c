"""What a container's label must be: issued for this person, with the disc, and not outdated.

A case number, or a label from yesterday, would prove only that somebody knows the case. The
paper number of a label is read from that label: no form and no refusal says it. It is no secret,
though: the list of papers and the trail name it. The gate keeps from a mistake; who means to
deceive signs for it with code and PIN, and the trail keeps which label was read.

One container goes into the retort, so that at the charge only the newest label passes. The
remains may lie in several containers: each carries a label of its own, made after the charge.
"""

import json

from django.db.models import Exists, OuterRef, Prefetch

from cases import read_before, scans
from cases.gates.base import Answer, Situation, refused, wrong_person
from cases.models import Case
from chain_of_custody.models import CustodyEntry, Paper

LABEL = "label"
WHO = "print a new label, fix it to the container in place of the old one, and scan that"
STOP = "stop; compare container, disc and paperwork before anything else"

# The order of recording counts: a charge is stated with an earlier time, a label never is.
IS_BURNT = Exists(
    CustodyEntry.objects.filter(
        case=OuterRef("case"), stage_to="in_retort", sequence__gt=OuterRef("entry__sequence")
    )
)
LABELS = (
    Paper.objects.filter(kind=LABEL)
    .select_related("superseded")
    .annotate(is_burnt=IS_BURNT)
    .order_by("-copy")
)
# A page with many persons reads their labels at once.
FETCH = Prefetch("papers", queryset=LABELS, to_attr="labels_read")


def newest(s: Situation) -> Paper | None:
    """Return the label that was issued last for this person, or None."""
    read_before: list[Paper] | None = getattr(s.case, "labels_read", None)
    if read_before is not None:
        return read_before[0] if read_before else None
    return LABELS.filter(case=s.case).first()


def on_record(s: Situation) -> Answer | None:
    """Refuse where no label can pass, whatever is scanned: none was made, or not since."""
    label = newest(s)
    if label is None:
        return refused(
            "No label was printed for this person: print one and fix it to the container.",
            "print the label, or write it by hand",
        )
    return _outdated(s, label) if s.facts is None else None


def read(s: Situation, scan: str) -> Answer | None:
    """Return why what was scanned or typed is not this person's newest label, or None."""
    label = scans.label(scan)
    if label is None:
        return _no_label(s, scan)
    paper = (
        Paper.objects.filter(facility=s.case.facility, number=label.paper_number)
        .select_related("superseded")
        .annotate(is_burnt=IS_BURNT)
        .first()
    )
    if paper is None or paper.case_id != s.case.pk or label.case_number not in ("", s.case.number):
        return _wrong(s, label.paper_number)
    if paper.kind != LABEL:
        return refused(
            f"{paper.number} is another paper of this person, not a label: scan the code on the "
            "label.",
            "scan the label on the container",
        )
    is_older = s.step.verb == "charge" and newest(s) != paper
    if is_older and not hasattr(paper, "superseded"):
        return refused(
            f"Label {paper.number} is an older one: a newer label was made after it.",
            "take the old label off, fix the newest one to the container, and scan that",
        )
    return _outdated(s, paper)


def on_containers(case: Case) -> list[str]:
    """Return the paper number of the label on each container of remains, as read there last."""
    entry = _newest_labelling(case)
    stated = json.loads(entry.payload)["facts"].get("containers", []) if entry else []
    return [container.get("label_scan", "") for container in stated]


def _newest_labelling(case: Case) -> CustodyEntry | None:
    acts = ("contain", "relabel")
    read_once = read_before.entries(case, *acts)
    if read_once is not None:
        return next(iter(read_once), None)
    entries = CustodyEntry.objects.filter(case=case, act__in=acts)
    return entries.filter(outcome=CustodyEntry.Outcome.DONE).order_by("-sequence").first()


def superseded(case: Case, numbers: list[str]) -> set[str]:
    """Return which of these labels no longer say what is so."""
    before = read_before.of(case)
    if before is not None and before.superseded is not None:
        return set(before.superseded.intersection(numbers))
    papers = Paper.objects.filter(case=case, number__in=numbers, superseded__isnull=False)
    return set(papers.values_list("number", flat=True))


def _no_label(s: Situation, scan: str) -> Answer:
    number = scans.case_number(scan)
    if number and number != s.case.number:
        return _wrong(s, number)
    if number:
        return refused(
            "This is a case number, not a label: scan the code on the label, or type the paper "
            "number printed on it.",
            "scan the label on the container",
        )
    return refused(
        f"“{scan}” is not a label: scan the code on the label, or type the paper number printed "
        "on it.",
        "scan the label on the container; where it cannot be read, print a new one",
    )


def _wrong(s: Situation, read_number: str) -> Answer:
    return wrong_person(
        f"WRONG LABEL. Read “{read_number}”; this is case {s.case.number}, and that label is not "
        "one of this person's.",
        STOP,
    )


def _outdated(s: Situation, label: Paper) -> Answer | None:
    """Refuse a label that no longer says what is so: corrected, or made before disc or charge."""
    if hasattr(label, "superseded"):
        return refused(
            f"Label {label.number} is superseded: what it says was corrected after it was printed.",
            WHO,
        )
    if label.facts.get("disc_number") != s.case.disc.number:
        return refused(
            f"Label {label.number} was printed before the disc was fixed: print a new label.", WHO
        )
    if getattr(label, "is_burnt"):  # noqa: B009 - annotated above
        return refused(
            f"Label {label.number} was on the container that was cremated: print a new label for "
            "the cremated remains.",
            "print a label for each container, and fix one to each",
        )
    return None
