"""Reading what a scanner or a person typed: a case label or a disc. Pure."""

import re
from dataclasses import dataclass

from crematory.check_character import is_valid

LABEL_MARK = "CASE/"
DISC_MARK = "DISC/"
DISC_FORM = re.compile(r"^[A-Z0-9](?:[A-Z0-9-]{0,19})$", re.ASCII)
# The form of the numbers that `chain_of_custody.press.new_number` draws.
PAPER_FORM = re.compile(r"^([A-HJKMNP-Z2-9]{4})-?([A-HJKMNP-Z2-9]{4})-?([A-HJKMNP-Z2-9])$")


@dataclass(frozen=True)
class Label:
    """What was read of a label; `case_number` is "" where only the paper number was typed."""

    paper_number: str
    case_number: str = ""

    @property
    def code(self) -> str:
        """What the code on the printed label holds."""
        return f"{LABEL_MARK}{self.case_number}/{self.paper_number}"


def case_number(scan: str) -> str:
    """Return the case number in a scan, or "" if its check character does not hold."""
    number = scan.strip().upper().removeprefix(LABEL_MARK).split("/")[0]
    return number if is_valid(number) else ""


def paper_number(typed: str) -> str:
    """Return a typed paper number as it is printed ("K7QM-2XHD-9"), or "" if it is none."""
    match = PAPER_FORM.match(typed.strip().upper())
    number = "-".join(match.groups()) if match else ""
    return number if number and is_valid(number) else ""


def label(scan: str) -> Label | None:
    """Read a label: its code `CASE/<case>/<paper>`, or the paper number alone, typed by hand.

    None for anything else, also where a check character does not hold: a case number alone
    is on many papers and proves no label.
    """
    parts = scan.strip().upper().split("/")
    number = paper_number(parts[-1])
    if not number:
        return None
    if len(parts) == 1:
        return Label(number)
    if len(parts) != 3 or f"{parts[0]}/" != LABEL_MARK or not is_valid(parts[1]):
        return None
    return Label(number, parts[1])


def disc(scan: str) -> str:
    """Return the disc number in a scan (1 to 20 letters, digits, hyphens), or ""."""
    number = scan.strip().upper().removeprefix(DISC_MARK)
    return number if DISC_FORM.match(number) else ""
