"""Printed words for the keys in the files of the law. Pure: no Django, no database.

A file names papers, items and grounds by key; a page or paper prints the words from here.
A key that does not stand here is an error in the file.
"""

from cases.law.item_words import ITEMS

__all__ = [
    "BY",
    "CONDITIONS",
    "GROUNDS",
    "ITEMS",
    "PAPERS",
    "WITHOUT_FORM",
    "WITHOUT_FORM_PAPERS",
    "item_words",
    "paper_words",
]

# Papers that a law asks for. Some are kinds of document, some only waive a waiting period.
PAPERS: dict[str, str] = {
    "cremation_authorization": "signed cremation authorization",
    "removal_authorization": "removal authorization",
    "death_record": "death certificate or other death record",
    "final_death_certificate": "complete death certificate, not a provisional one",
    "disposition_permit": "burial, transit or disposition permit",
    "medical_clearance": "coroner's or medical examiner's clearance",
    "application": "application for cremation",
    "medical_certificate": "medical certificate",
    "referee_authority": "medical referee's authority or permit",
    "risk_advice": "cremation risk advice from a medical practitioner",
    "certification": "certification document",
    "registration_certificate": "certificate of registration of the death",
    "cremation_contract": "cremation contract with the prescribed statements",
    "battery_statement": "statement by physician, coroner or examiner: no battery or power cell",
    "identification": "record of positive identification",
    "identity_document": "identity document that came with the person",
    "declaration_of_intent": "signed declaration of intent for the cremated remains",
    "crematory_disclosure": "signed disclosure about the crematory",
    "delivery_receipt": "signed receipt of delivery",
    "disposition_report": "report for final disposition",
    "coroner_form": "coroner's form",
    "decedent_directions": "the decedent's own written directions",
    "preneed_contract": "contract made by the decedent before death",
    "medical_examiner_waiver": "written waiver by the coroner or medical examiner",
    "contagion_certificate": "physician's or coroner's certificate of a communicable disease",
    "health_board_order": "order of the health department or board",
    "court_order": "court order",
}

# The question that decides whether a paper is asked, as it is put to a person.
CONDITIONS: dict[str, str] = {
    "report_required": "Must a report for final disposition be filed for this death?",
    "coroner_takes_part": "Does a coroner take part in this death?",
    "full_investigation": "Is this death under full investigation by the medical examiner?",
}

# What must be so where nobody signs the authorization form, beside the papers it needs.
WITHOUT_FORM: dict[str, str] = {
    "agent_refuses": "Does the authorizing agent refuse to sign the form?",
    "costs_paid": "Are the costs of the cremation paid?",
}
WITHOUT_FORM_PAPERS: dict[str, str] = {
    "decedent_directions": "decedent_directions",
    "agent_positively_identified": "identification",
}

# Why a waiting period may be shortened or lifted.
GROUNDS: dict[str, str] = {
    "infectious_disease": "death from a dangerous infectious disease",
    "religious_requirement": "religious requirement",
    "written_waiver": "written waiver by the authority",
    "court_order": "court order",
    "authority_exception": "exception by the coroner or medical examiner",
}

# Authorities and persons who permit, waive, assert or remove.
BY: dict[str, str] = {
    "coroner": "coroner",
    "medical_examiner": "medical examiner",
    "coroner_or_medical_examiner": "coroner or medical examiner",
    "justice_or_medical_examiner": "justice of the peace or medical examiner",
    "physician_or_coroner": "physician or coroner",
    "physician_coroner_or_medical_examiner": "physician, coroner or medical examiner",
    "medical_referee": "medical referee",
    "referee_or_coroner": "medical referee or coroner",
    "procurator_fiscal": "procurator fiscal",
    "health_board": "health department or board of health",
    "court": "court",
    "agent": "authorizing agent",
    "practitioner": "medical practitioner",
    "examining_practitioner": "medical practitioner who examined the body",
    "funeral_director": "funeral director",
    "embalmer": "embalmer",
    "medical_staff": "medical staff at a medical facility",
    "radiation_safety_officer": "the treating radiation safety officer",
}


def paper_words(kind: str) -> str:
    """Return the printed words of a kind of paper; the key itself where it is not known."""
    return PAPERS.get(kind, kind.replace("_", " "))


def item_words(keys: tuple[str, ...]) -> list[str]:
    """Return the printed words of an item list, in the order of the list."""
    return [ITEMS[key] for key in keys]
