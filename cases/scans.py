"""Reading what a scanner or a person typed: a case label or a disc. Pure."""

import re

from crematory.check_character import is_valid

LABEL_MARK = "CASE/"
DISC_MARK = "DISC/"
DISC_FORM = re.compile(r"^[A-Z0-9](?:[A-Z0-9-]{0,19})$", re.ASCII)


def case_number(scan: str) -> str:
    """Return the case number in a scan, or "" if its check character does not hold."""
    number = scan.strip().upper().removeprefix(LABEL_MARK).split("/")[0]
    return number if is_valid(number) else ""


def disc(scan: str) -> str:
    """Return the disc number in a scan (1 to 20 letters, digits, hyphens), or ""."""
    number = scan.strip().upper().removeprefix(DISC_MARK)
    return number if DISC_FORM.match(number) else ""
