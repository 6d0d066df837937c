"""Gates on what is in and with the body: devices, radionuclides, personal things."""

from cases import device_rules, law_questions, radiation, things
from cases.gates.base import Answer, Situation, asked, by_law, gate, passed, refused
from cases.models import DeviceAnswer
from cases.nuclide_advice import State
from cases.nuclides import ASK_THE_ADVISER
from cases.waits import kinds_on_file

OFFICE = "front office"
RADIOACTIVE = DeviceAnswer.Device.RADIOACTIVE
SEEDS = DeviceAnswer.Use.SEEDS
ADVISER = "the radiation-protection adviser, in writing"


def newest_answers(s: Situation) -> dict[str, DeviceAnswer]:
    """Return the answer that counts for each device: the newest one."""
    return {answer.device: answer for answer in s.case.device_answers.all()}


@gate("Every device question answered")
def devices_answered(s: Situation) -> Answer:
    answers, law = newest_answers(s), s.case.law
    citation = by_law(law.devices_citation)
    open_ones = [
        device.label
        for device in device_rules.asked(law)
        if device.value not in answers or answers[device.value].answer == "unknown"
    ]
    if open_ones:
        return refused(
            f"Not answered, or not known: {', '.join(open_ones)}. “Not known” never passes.",
            f"{OFFICE} asks the family, the physician or the sender",
            citation=citation,
            since=s.case.announced_at,
        )
    if missing := _statement_missing(s):
        return refused(
            missing,
            f"{OFFICE}, from {s.case.sender}",
            citation=citation,
            since=s.case.announced_at,
        )
    return passed(citation=citation)


def _statement_missing(s: Situation) -> str:
    """Whose statement is missing; the agent's is an item of a form that may lawfully be absent."""
    law, on_file = s.case.law, kinds_on_file(s.case)
    missing = device_rules.statement_missing(law, set(on_file))
    if missing and law.devices.asserted_by == ("agent",):
        return "" if law_questions.lacks_without_form(s.case, on_file) == [] else missing
    return missing


@gate("Each device removed, or harmless")
def devices_removed(s: Situation) -> Answer:
    left = [
        answer
        for answer in newest_answers(s).values()
        if answer.answer == "yes"
        and answer.device != RADIOACTIVE
        and not (answer.outcome and device_rules.may_end_so(s.case.law, answer))
    ]
    citation = by_law(s.case.law.devices_citation)
    if not left:
        return passed(citation=citation)
    names = ", ".join(answer.get_device_display() for answer in left)
    return refused(
        f"There, and it is not recorded what became of it: {names}.",
        "a qualified person removes it before anything else, or the sender attests that it was "
        f"removed; only {device_rules.what_may_stay(s.case.law)} may stay",
        citation=citation,
        since=min(answer.answered_at for answer in left),
    )


@gate("Radionuclide wait passed")
def radionuclide_wait(s: Situation) -> Answer:
    stated = newest_answers(s).get(RADIOACTIVE)
    if stated is None or stated.answer != "yes":
        return passed()
    of_law = s.case.law.radioactive_citation
    if stated.outcome and stated.nuclide_use == SEEDS:
        return passed(stated.get_outcome_display(), by_law(of_law))
    found = radiation.answer_for(s.case, stated, s.now)
    citation = by_law("; ".join(dict.fromkeys(filter(None, (found.source, of_law)))))
    if found.state is State.PASSED:
        return passed(f"{found.why} {_defers(found.why)}".strip(), citation)
    opens = radiation.opens_at(s.case, found.free_on) if found.free_on else None
    return refused(
        f"{found.why} {_defers(found.why)}".strip(),
        ADVISER,
        opens,
        citation,
        stated.answered_at,
    )


def _defers(why: str) -> str:
    """The adviser has the last word, which is said once."""
    return "" if "adviser" in why else ASK_THE_ADVISER


@gate("Personal things settled")
def jewellery_settled(s: Situation) -> Answer:
    listed = things.standing(s.case)
    who = f"{OFFICE} or operator lists what is there and asks the family"
    if not s.case.things_looked_for.all():
        return refused(
            "Nobody has looked for jewellery and other things and closed the list.",
            who,
            since=s.case.announced_at,
        )
    if not things.is_looked_for(s.case):
        return refused(
            "The list was closed before the receipt, or before what is written there of belongings "
            "was corrected. Look again, and close it again.",
            who,
            since=s.case.announced_at,
        )
    undecided = [thing for thing in listed if thing.wish == "open"]
    if undecided:
        return refused(
            f"It is not decided what becomes of: {things.words(undecided)}.",
            who,
            since=min(thing.listed_at for thing in undecided),
        )
    return passed(f"{len(listed)} on the list." if listed else "None found.")


@gate("Personal things given back")
def things_given_back(s: Situation) -> Answer:
    due = things.due(s.case)
    if not due:
        return passed()
    lies = f"Lies here and is to be given back: {things.words(due)}."
    if s.facts is None:
        return asked(lies)
    if s.facts.things_are_given and s.facts.receipt_is_signed:
        return passed("Given back with this.")
    return refused(
        lies,
        f"{OFFICE} gives it back against a signed receipt, before this or with it",
        since=min(thing.listed_at for thing in due),
    )
