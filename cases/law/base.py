"""What every rule of law carries beside its values: where it stands and how well it was read."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Mark(StrEnum):
    """How a rule was read."""

    FOUND = "found"  # in the text named
    FOUND_OLD = "found-old"  # in an older or superseded text
    FOUND_BILL = "found-bill"  # in the text of a bill
    SECONDARY = "secondary"  # in a summary, a council's page or an article
    PRIOR = "prior"  # found earlier, not read again
    HEADING = "heading"  # only the heading was seen
    MEMORY = "memory"  # not confirmed
    UNKNOWN = "unknown"  # looked for and not seen; never "no rule"


class State(StrEnum):
    """What a gate does with a rule."""

    ENFORCED = "enforced"
    CONFIRM = "confirm"  # enforced, and the page says to confirm it before use
    UNKNOWN = "unknown"  # not enforced: no value, or one from memory that nobody adopted


_STATES = {
    Mark.FOUND: State.ENFORCED,
    Mark.FOUND_OLD: State.CONFIRM,
    Mark.FOUND_BILL: State.CONFIRM,
    Mark.SECONDARY: State.CONFIRM,
    Mark.PRIOR: State.CONFIRM,
    Mark.HEADING: State.UNKNOWN,
    Mark.MEMORY: State.UNKNOWN,
    Mark.UNKNOWN: State.UNKNOWN,
}


@dataclass(frozen=True, kw_only=True)
class Rule:
    """A rule with its source; subclasses add the values. None is "the text does not say".

    `adopted` is true for a rule that the facility made its own by tightening; no file sets it.
    """

    citation: str
    mark: Mark
    read_on: date
    link: str = ""
    note: str = ""
    adopted: bool = False

    @property
    def state_by_law(self) -> State:
        """Return what a gate does with this rule where no house adopted it."""
        return _STATES[self.mark]

    @property
    def state(self) -> State:
        """Return what a gate does with this rule."""
        return State.ENFORCED if self.adopted else self.state_by_law

    @property
    def is_enforced(self) -> bool:
        """True when a gate holds to the rule, confirmed or not."""
        return self.state != State.UNKNOWN


SOURCE = frozenset({"citation", "link", "mark", "read_on", "note"})
