"""What the family of a person in the demonstration says: who has the right, and who signs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cases import right, right_acts
from cases.authority import Outcome
from crematory import clock

if TYPE_CHECKING:
    from cases.demo.life import Life

CLASS_OF = {
    "wife": "spouse",
    "husband": "spouse",
    "first wife, who says that the divorce was never final": "spouse",
    "daughter": "child",
    "son": "child",
    "mother": "parent",
    "father": "parent",
    "sister": "sibling",
    "brother": "sibling",
    "granddaughter": "grandchild",
    "grandson": "grandchild",
    "niece": "next_of_kin",
    "nephew": "next_of_kin",
}
# Where one member may sign alone it need not be said that everybody of the class is named.
ALONE = frozenset({"spouse"})


def sign(life: Life) -> None:
    """Let the agent sign at the counter, after saying who goes before them."""
    rank = CLASS_OF[life.person.relationship]
    member, case = life.hands.member(life.front()), life.case
    complete = {key: True for key in _up_to(life, rank) if key not in ALONE or key != rank}
    right_acts.state_ranks(case, member, life.hands.token(), complete, life.person.agent)
    _name(life, life.person.agent, life.person.relationship, "signed", "at the counter, on paper")


def object_to_it(life: Life) -> None:
    """Let the objector call the house."""
    _name(life, life.person.objector, life.person.objector_is, "objects", "by telephone")


def review(life: Life) -> None:
    """Let the manager record what the authority said where the known order ends too early."""
    if right.answer_for(life.case).outcome is not Outcome.UNDECIDED:
        return
    right_acts.review_authority(
        life.case,
        life.hands["MG1"],
        life.hands.token(),
        f"Asked the county's coroner by telephone: the {life.person.relationship} may authorize, "
        "since nobody nearer is living.",
        None,
    )


def _name(life: Life, name: str, relationship: str, position: str, how: str) -> None:
    right_acts.name_holder(
        life.case,
        life.hands.member(life.front()),
        life.hands.token(),
        right_acts.Named(name=name, rank=CLASS_OF[relationship], relationship=relationship),
        said=right_acts.Said(position=position, said_at=clock.now(), how=how),
    )


def _up_to(life: Life, rank: str) -> list[str]:
    """The classes from the highest down to this one; all of them where the order leaves it out."""
    order = [known.key for known in life.case.law.ranks]
    return order[: order.index(rank) + 1] if rank in order else order
