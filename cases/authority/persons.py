"""The persons named for one decedent, as recorded. Pure: no Django, no database.

Every answer has a third state. What nobody answered (`None`) is never taken in the cremation's
favour: it counts as living, reachable, of age and of sound mind, and as not proved.
"""

from dataclasses import dataclass
from datetime import date, datetime

DIRECTIONS = "decedent_directions"
# Someone without a rank of their own, to whom a person with a rank delegated it.
DELEGATE = "delegate"
# Classes whose right rests on a paper or an order: without it a signature proves nothing.
BY_INSTRUMENT = frozenset(
    {
        DIRECTIONS,
        "designated_agent",
        "dd93",
        "health_care_agent",
        "personal_representative",
        "guardian",
        "public_administrator",
    }
)
# Who may act for the unclaimed, where an order names them or the local authority says so.
PUBLIC_OFFICER = "public_administrator"
# Those whom the decedent chose. Where an order leaves them out, their place is unknown, not low.
BY_THE_DECEDENT = frozenset({DIRECTIONS, "designated_agent", "dd93"})


@dataclass(frozen=True)
class NoticeEffort:
    """One recorded attempt to reach a person: day and manner ("registered letter")."""

    on: date
    how: str


@dataclass(frozen=True)
class Signing:
    """A signature under the authorization; `at` is aware.

    `by` is the key of the delegate whose hand signed, empty for the person's own hand. Each
    person has one signing at most, so a delegate counts once for each who delegated to them.
    """

    at: datetime
    how: str
    by: str = ""


@dataclass(frozen=True)
class Objection:
    """A recorded objection to the cremation. It stands until it is recorded how it was settled.

    `settled_by` says how: withdrawn by the person, a court's order, a signed agreement.
    """

    at: datetime
    how: str
    settled_at: datetime | None = None
    settled_by: str = ""

    @property
    def stands(self) -> bool:
        """Whether nobody has recorded that it was settled."""
        return self.settled_at is None


@dataclass(frozen=True)
class Delegation:
    """A right handed to the person of key `to`, from `at` on; it counts only if in writing."""

    to: str
    at: datetime
    in_writing: bool


@dataclass(frozen=True)
class Person:
    """One person in one class. Somebody who belongs to two classes is named once in each.

    `facts` are keys such as "separated_by_order"; a fact matters only where the rank names it.
    `instrument_on_file` is asked for the classes in BY_INSTRUMENT: False means it was looked
    for and does not exist. The decedent's own directions are a "person" too: `signed` is the
    decedent's signature in life, `objection` stands for directions against cremation. A
    signature that was taken back never counts again; `withdrawal_is_settled` only says that
    taking it back opposes nothing any more. `lapsed` says that a term of the law went by before
    they signed; whether they arranged anything else within it nobody can read from the record.
    """

    key: str
    name: str
    class_key: str
    living: bool | None = None
    reachable: bool | None = None
    efforts: tuple[NoticeEffort, ...] = ()
    minor: bool | None = None
    sound_mind: bool | None = None
    signed: Signing | None = None
    withdrew_at: datetime | None = None
    withdrawal_is_settled: bool = False
    objection: Objection | None = None
    delegation: Delegation | None = None
    facts: frozenset[str] = frozenset()
    instrument_on_file: bool | None = None
    lapsed: bool = False

    @property
    def has_signed(self) -> bool:
        """Whether a signature was given and not taken back since; says nothing of its worth."""
        if self.signed is None:
            return False
        return self.withdrew_at is None or self.signed.at > self.withdrew_at

    @property
    def opposes(self) -> bool:
        """Whether an objection stands, or a signature was taken back, not given anew, unsettled."""
        if self.objection is not None and self.objection.stands:
            return True
        is_back = self.withdrew_at is not None and not self.has_signed
        return is_back and not self.withdrawal_is_settled
