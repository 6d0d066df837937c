"""Which values a facility may tighten, and in which direction."""

from enum import StrEnum

from cases.authority import Lesser, Quorum
from cases.law.base import Rule


class TighteningRefused(Exception):
    """A change would loosen the law, or makes no sense; the text says why."""


class LawIsStricter(TighteningRefused):
    """The law in force asks more here than the value does."""


class Direction(StrEnum):
    """Which way is tighter."""

    UP = "up"
    DOWN = "down"
    SCALE = "scale"  # words of which some are stricter than others


# Table and value, as in the files. Everything else stands as the law has it.
DIRECTIONS: dict[tuple[str, str], Direction] = {
    ("wait", "hours"): Direction.UP,
    ("medical_clearance", "rule"): Direction.SCALE,
    ("medical_clearance", "oral_confirmed_within_hours"): Direction.DOWN,
    ("holding", "after_hours"): Direction.DOWN,
    ("holding", "max_f"): Direction.DOWN,
    ("holding", "max_c"): Direction.DOWN,
    ("holding_limit", "within_hours"): Direction.DOWN,
    ("holding_limit", "within_days"): Direction.DOWN,
    ("radioactive", "wait_years"): Direction.UP,
    ("one_body", "rule"): Direction.SCALE,
    ("retention", "years"): Direction.UP,
    ("unclaimed", "days"): Direction.UP,
    ("unclaimed", "years"): Direction.UP,
    ("particle", "max_mm"): Direction.DOWN,
    ("release", "ship_within_days"): Direction.DOWN,
    ("secondary_chamber", "min_f"): Direction.UP,
    ("secondary_chamber", "min_c"): Direction.UP,
    ("secondary_chamber", "residence_s"): Direction.UP,
    ("notice", "within_hours"): Direction.DOWN,
    ("notice", "within_days"): Direction.DOWN,
}

# What is as strict or stricter than a word. None: the rule is not enforced as it stands.
STRICTER: dict[tuple[str, str], dict[str | None, set[str]]] = {
    ("medical_clearance", "rule"): {
        None: {"always"},
        "reportable": {"reportable", "always"},
        "listed": {"listed", "always"},
        "always": {"always"},
    },
    ("one_body", "rule"): {
        word: {word or "never", "never"}
        for word in (
            None,
            "never",
            "consent_of_each",
            "consent_of_all",
            "written_permission",
            "permission_after_disclosure",
            "unless_form_says",
            "authority_approves",
        )
    },
}

QUORUM: dict[Quorum, set[str]] = {
    Quorum.ONE: {"one", "one_unless_objection", "majority", "all"},
    Quorum.ONE_UNLESS_OBJECTION: {"one_unless_objection", "majority", "all"},
    Quorum.MAJORITY: {"majority", "all"},
    Quorum.COLLECTIVELY: {"collectively", "all"},
    Quorum.UNKNOWN: {"unknown", "all"},
    Quorum.ALL: {"all"},
}
LESSER: dict[Lesser, set[str]] = {
    Lesser.ANY: {"any", "less_than_majority", "less_than_half", "none"},
    Lesser.LESS_THAN_MAJORITY: {"less_than_majority", "less_than_half", "none"},
    Lesser.LESS_THAN_HALF: {"less_than_half", "none"},
    Lesser.NONE: {"none"},
}

# What a value of the house needs beside it where the law read says nothing.
DEFAULTS: dict[tuple[str, str], dict[str, object]] = {
    ("wait", "hours"): {"starts": "death"},
    ("holding", "after_hours"): {"starts": "custody"},
    ("radioactive", "wait_years"): {"rule": "wait"},
    ("retention", "years"): {"rule": "years", "starts": "cremation"},
    ("unclaimed", "days"): {"starts": "cremation", "counting": "day", "earliest": "after_day"},
    ("unclaimed", "years"): {"starts": "cremation", "counting": "day", "earliest": "after_day"},
    ("particle", "max_mm"): {"rule": "max"},
}

UNITS = {
    "hours": " h",
    "oral_confirmed_within_hours": " h",
    "after_hours": " h",
    "within_hours": " h",
    "within_days": " days",
    "ship_within_days": " days",
    "days": " days",
    "years": " years",
    "wait_years": " years",
    "max_f": " °F",
    "min_f": " °F",
    "max_c": " °C",
    "min_c": " °C",
    "residence_s": " s",
    "max_mm": " mm",
}


def direction(table: str, name: str, rule: Rule) -> Direction | None:
    """Return which way is tighter, or None where the facility may change nothing.

    A duty that ends with a day is tightened by fewer days, a hold by more.
    """
    which = DIRECTIONS.get((table, name))
    if table == "unclaimed" and which and getattr(rule, "earliest", None) == "by_day":
        return Direction.DOWN
    return which
