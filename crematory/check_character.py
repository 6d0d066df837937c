"""Check characters of printed numbers: ISO/IEC 7064, Mod 37,36 ("QV26-00042-W").

The last character finds every single misread character and nearly every swapped pair.
"""

from stdnum.iso7064 import mod_37_36


def with_check(body: str) -> str:
    """Append the check character to a number: upper case, after a hyphen.

    Raises ValueError unless the body is made of the letters A to Z, digits and hyphens.
    """
    characters = _characters(body)
    if not characters:
        raise ValueError(f"a number is made of letters, digits and hyphens, got {body!r}")
    return f"{body.strip().upper()}-{mod_37_36.calc_check_digit(characters)}"


def is_valid(number: str) -> bool:
    """Whether the last character fits the rest; case, hyphens and outer blanks do not matter."""
    return explain(number) == ""


def explain(number: str) -> str:
    """What is wrong with a number and what to do; an empty text when nothing is.

    The fitting character is not named: it would invite mending the number instead of
    reading it again.
    """
    characters = _characters(number)
    if not characters:
        return (
            "A number has only letters, digits and hyphens. Read it again from the paper or disc."
        )
    if len(characters) < 2:
        return "The number is too short. Read all of it, with its last character."
    if not mod_37_36.is_valid(characters):
        return (
            f"{number.strip().upper()} does not fit its last character: a character was misread, "
            "left out or swapped. Read it again from the paper or disc."
        )
    return ""


def _characters(number: str) -> str:
    """The letters and digits in upper case; empty when anything else is among them."""
    bare = number.strip().replace("-", "")
    # ASCII is asked for before the upper case, which would turn ß into SS.
    return bare.upper() if bare.isascii() and bare.isalnum() else ""
