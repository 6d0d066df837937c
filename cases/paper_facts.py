"""What each paper says, as text in the facility's zone and units: plain JSON values.

Facts that a correction may change keep the key of the corrected field (`decedent_name`, `firm`,
…), for a correction supersedes the papers whose facts hold that key. Content of the receipts:
SC 32-8-330, TN 62-5-509, OH 4717.28, CO 12-135-305, NC 90-210.127, MT 37-19-706, SD 34-26A-26;
the certificate is assembled from what registers keep, for no statute read lists its contents.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.utils.formats import date_format

from cases import death, documents, right, thing_paper
from cases.gates import labels
from cases.models import Case, Recipient
from cases.steps import STEPS
from chain_of_custody.models import CustodyEntry
from crematory.models import StaffMember
from crematory.templatetags.crematory import when
from crematory.units import UnitSystem, show_quantity

Facts = dict[str, Any]


def _day(value: date | None) -> str:
    return date_format(value, "j M Y") if value else "not known"


def _units(case: Case) -> UnitSystem:
    return "metric" if case.facility.units == case.facility.Units.METRIC else "us"


def person(case: Case) -> Facts:
    """Who the paper is about; on every paper."""
    return {
        "case_number": case.number,
        "decedent_name": case.decedent_name,
        "years": case.years,
        "born_on": _day(case.born_on),
        "died_at": death.words(death.of(case), case.facility.zone),
    }


def _entry(case: Case, verb: str) -> CustodyEntry | None:
    return (
        CustodyEntry.objects.filter(case=case, act=verb, outcome=CustodyEntry.Outcome.DONE)
        .select_related("signed_by", "witness", "place_to")
        .first()
    )


def _signer(entry: CustodyEntry | None, member: StaffMember | None, meaning: str) -> Facts:
    """A signature by code and PIN: printed name, code, when, and what it means."""
    if entry is None or member is None:
        return {"name": "", "code": "", "signed_at": "", "meaning": meaning}
    return {
        "name": member.printed_name,
        "code": member.staff_code,
        "signed_at": when(entry.recorded_at),
        "meaning": meaning,
    }


def _signatures(case: Case, verb: str) -> Facts:
    entry, step = _entry(case, verb), STEPS[verb]
    return {
        "happened_at": when(entry.happened_at) if entry else "",
        "signed_by": _signer(entry, entry.signed_by if entry else None, step.meaning),
        "witness": _signer(entry, entry.witness if entry else None, "I witnessed this act."),
    }


def _disc(case: Case) -> str:
    return case.disc.number if hasattr(case, "disc") else ""


def label(case: Case) -> Facts:
    """The container label."""
    return {"disc_number": _disc(case), "sender": case.sender}


def receipt(case: Case) -> Facts:
    """The receipt of remains at the door."""
    delivery, entry = case.delivery, _entry(case, "receive")
    return {
        "sender": case.sender,
        "delivered_by": delivery.delivered_by,
        "firm": delivery.firm,
        "container_kind": delivery.container_kind,
        "mass_kg": show_quantity(delivery.mass_kg, "mass", _units(case), both=True),
        "belongings": delivery.belongings,
        "place": str(entry.place_to) if entry and entry.place_to else "",
        **_signatures(case, "receive"),
    }


def _agents(case: Case) -> list[Facts]:
    """Those by whose signatures the cremation is authorized, each person once.

    Where a manager settled what the rules leave open: all whose signature stands.
    """
    counted = {(person.key, person.class_key) for person in right.answer_for(case).signed}
    stands = [holder for holder in case.right_holders.all() if right.has_standing_signature(holder)]
    signed = [h for h in stands if (str(h.person), h.rank) in counted] or stands
    people = {holder.person: holder for holder in signed}
    return [{"name": h.name, "relationship": h.relationship} for h in people.values()]


def certificate(case: Case) -> Facts:
    """The certificate of cremation."""
    run, charge = case.run, _entry(case, "charge")
    operator = charge.signed_by if charge else None
    return {
        "disc_number": _disc(case),
        "charged_at": when(run.charged_at),
        "burner_off_at": when(run.burner_off_at),
        "recovered_at": when(run.ended_at),
        "retort": run.retort.name,
        "permit_number": run.retort.permit.number,
        "agents": _agents(case),
        "operator": operator.printed_name if operator else "",
        "operator_certificate": operator.certificate_number if operator else "",
        "documents": [
            {
                "kind": document.get_kind_display(),
                "reference": document.reference,
                "issued_by": document.issued_by,
                "issued_on": _day(document.issued_on),
            }
            for document in documents.current(case)
        ],
    }


def _people(rows: Iterable[Recipient]) -> list[Facts]:
    return [{"name": row.name, "relationship": row.relationship} for row in rows]


def _handing_over(case: Case) -> Facts:
    """Who took over; empty texts before it has happened, to be filled in by hand."""
    done = getattr(case, "release", None)
    return {
        "recipient_name": done.recipient_name if done else "",
        "recipient_firm": done.firm if done else "",
        "identification": done.identification if done else "",
        "carrier": done.carrier if done else "",
        "tracking_number": done.tracking_number if done else "",
        "is_done": done is not None,
    }


def release(case: Case) -> Facts:
    """The receipt for the cremated remains."""
    units, fixed = _units(case), labels.on_containers(case)
    return {
        "disc_number": _disc(case),
        "named": _people(case.recipients.all()),
        "things": thing_paper.with_the_person(case),
        "containers": [
            {
                "position": c.position,
                "kind": c.kind,
                "volume": show_quantity(c.volume_l, "volume", units, both=True),
                "mass": show_quantity(c.mass_kg, "mass", units, both=True),
                "label": fixed[c.position - 1] if c.position <= len(fixed) else "",
            }
            for c in case.containers.all()
        ],
        **_handing_over(case),
        **_signatures(case, "release"),
    }


def return_uncremated(case: Case) -> Facts:
    """The receipt for a person who is given back uncremated."""
    delivery = case.delivery
    return {
        "disc_number": _disc(case),
        "container_kind": delivery.container_kind,
        "mass_kg": show_quantity(delivery.mass_kg, "mass", _units(case), both=True),
        "belongings": delivery.belongings,
        "things": thing_paper.with_the_person(case),
        **_handing_over(case),
        **_signatures(case, "return_uncremated"),
    }
