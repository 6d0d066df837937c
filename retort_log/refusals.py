"""How an act at the machines is refused: in words for the person, with an entry in the trail."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import transaction

from chain_of_custody import trail
from crematory.models import Facility, StaffMember


class MachineRefused(Exception):
    """An act that cannot be recorded: `code` for the trail, `text` says what to do.

    Where more than one thing stands against it, `texts` has each.
    """

    # A question is no refusal: nothing is recorded of it until it is answered.
    is_question = False

    def __init__(self, code: str, *texts: str) -> None:
        super().__init__(" ".join(texts))
        self.code, self.texts = code, texts

    @property
    def text(self) -> str:
        """All that is said."""
        return " ".join(self.texts)


@contextmanager
def refusals_recorded(
    facility: Facility,
    act: str,
    member: StaffMember,
    facts: dict[str, Any] | None = None,
    case: Any = None,
) -> Iterator[None]:
    """One transaction; what is refused in it leaves nothing but an entry that says so."""
    try:
        with transaction.atomic():
            yield
    except MachineRefused as refusal:
        if not refusal.is_question:
            trail.record_refusal(facility, act, [refusal.code], member, case=case, facts=facts)
        raise
