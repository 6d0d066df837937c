"""Refusals: what a person can act on, with a stable code for programs."""

from cases.verdicts import REFUSED, Verdict


class ActRefused(Exception):
    """An act that may not happen. `verdicts` say what is missing and who can settle it."""

    def __init__(self, code: str, text: str, verdicts: tuple[Verdict, ...] = ()) -> None:
        super().__init__(text)
        self.code = code
        self.text = text
        self.verdicts = verdicts

    @property
    def codes(self) -> list[str]:
        """All reasons by code: the gates that refused, or the one reason before any gate."""
        return [v.gate for v in self.verdicts] or [self.code]


class StepRefused(ActRefused):
    """A step that may not be taken."""


def by_gates(verdicts: list[Verdict]) -> StepRefused:
    """Return the refusal of a step by one or more gates."""
    shut = tuple(v for v in verdicts if v.state == REFUSED)
    return StepRefused("gates", "; ".join(v.reason for v in shut), shut)
