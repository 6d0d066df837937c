"""Forms about those who may authorize: who they are, what is known, what they said."""

from typing import Any

from cases.authority import CLASSES
from cases.forms.base import WritingForm
from cases.forms.side import choice
from cases.forms.steps import text
from cases.law import Jurisdiction
from cases.models import NAME_LENGTH, Case

POSITIONS = [
    ("signed", "has signed"),
    ("objects", "objects"),
    ("", "has said nothing yet"),
]


def class_choices(law: Jurisdiction) -> list[tuple[str, str]]:
    """The classes in the order of the jurisdiction, then those that it does not name."""
    order = [rank.key for rank in law.ranks]
    others = [key for key in CLASSES if key not in order]
    return [(key, CLASSES[key]) for key in [*order, *others]]


class NameForm(WritingForm):
    """A person with a say, and what they said, in one go."""

    name = text("Name", NAME_LENGTH)
    rank = choice("Class", [])
    relationship = text("Relationship to the person who died", 100)
    position = choice("This person", POSITIONS[:2], required=False)
    how = text("How it came", 200, initial="in person, on paper")

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.fields["rank"].choices = [("", "---------"), *class_choices(case.law)]  # type: ignore[attr-defined]
