"""What the receipt for personal things says, as text in the facility's zone."""

from typing import Any

from cases import things
from cases.drawing import as_path
from cases.models import Case, PersonalThing, ThingsReceipt
from chain_of_custody.models import CustodyEntry
from crematory.templatetags.crematory import when

Facts = dict[str, Any]
Form = ThingsReceipt.Form
GIVING = ("give_back", "release", "return_uncremated")


def _line(thing: PersonalThing) -> Facts:
    back = getattr(thing, "returned", None)
    return {
        "kind": thing.get_kind_display(),
        "description": thing.description,
        "kept_in": thing.kept_in,
        "decided_by": thing.decided_by,
        "returned_to": back.returned_to if back else "",
        "identification": back.identification if back else "",
        "returned_at": when(back.returned_at) if back else "",
    }


def things_form(case: Case) -> Facts:
    """The receipt to be signed when things are given back: what lies here."""
    return {"things": [_line(thing) for thing in things.due(case)], "is_done": False}


def things_given(case: Case) -> Facts:
    """The receipt for what was given back: to whom, when, by whom, and how it was signed for."""
    given = things.given(case)
    lines = [_line(thing) for thing in given]
    moments = {thing.returned.returned_at for thing in given}
    entries = CustodyEntry.objects.filter(
        case=case, act__in=GIVING, outcome=CustodyEntry.Outcome.DONE, happened_at__in=moments
    ).select_related("signed_by")
    names = [entry.signed_by.printed_name for entry in entries if entry.signed_by]
    receipts = {row.pk: row for row in case.things_receipts.select_related("scan")}
    receivers: dict[Any, Facts] = {}
    for thing, line in zip(given, lines, strict=True):
        receipt = receipts.get(thing.returned.receipt_id or 0)
        key = receipt.pk if receipt else (line["returned_to"], line["identification"])
        if key not in receivers:
            receivers[key] = {
                "name": line["returned_to"],
                "identification": line["identification"],
                "returned_at": line["returned_at"],
                **_signed(receipt, line["returned_at"]),
            }
    return {
        "things": lines,
        "is_done": True,
        "given_by": " and ".join(dict.fromkeys(names)),
        "receivers": list(receivers.values()),
    }


def _signed(receipt: ThingsReceipt | None, at: str) -> Facts:
    """How the receiver signed: the drawn signature itself, where the paper is, or why not."""
    if receipt is None:
        return {"ink": None, "how": "", "meaning": ""}
    ink = None
    if receipt.strokes:
        width, height, path = as_path(receipt.strokes)
        ink = {"width": width, "height": height, "path": path}
    return {"ink": ink, "how": _how(receipt, at), "meaning": receipt.meaning}


def _how(receipt: ThingsReceipt, at: str) -> str:
    if receipt.form == Form.TABLET:
        return f"Drawn on the tablet, {at}"
    if receipt.form == Form.UNSIGNED:
        return f"Not signed: {receipt.reason}"
    if receipt.form == Form.WITH_RECEIPT:
        return "Signed on the receipt of the release or return"
    if receipt.scan:
        return f"Signed on paper; the scan is kept, SHA-256 {receipt.scan.sha256[:12]}…"
    return f"Signed on paper; no scan: {receipt.reason}"


def with_the_person(case: Case) -> str:
    """The things on the receipt of the release or return: those that lie here, or went with it."""
    went = [
        thing
        for thing in things.given(case)
        if thing.returned.receipt and thing.returned.receipt.form == Form.WITH_RECEIPT
    ]
    return "; ".join(thing.description for thing in went or things.due(case))


def has_due(case: Case) -> bool:
    """True while something lies here that is to be given back."""
    return bool(things.due(case))


def has_given(case: Case) -> bool:
    """True once something was given back."""
    return bool(things.given(case))
