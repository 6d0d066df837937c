"""Who may do each act beside the steps. No database in here.

The acts refuse everybody else, and the pages show no button to whom it would be refused.
Not named here: a hold is opened and a paper printed by anybody, a correction by the roles that
`cases.corrections` gives its field, and a step by the roles of its row in `cases.steps`.
"""

from dataclasses import dataclass
from functools import cache

from crematory.models import Role, StaffMember

FRONT_OFFICE, OPERATOR, MANAGER = Role.FRONT_OFFICE, Role.OPERATOR, Role.MANAGER

WHO: dict[str, frozenset[Role]] = {
    "announce": frozenset({FRONT_OFFICE}),
    "file_document": frozenset({FRONT_OFFICE, MANAGER}),
    "state_agent": frozenset({FRONT_OFFICE, MANAGER}),
    "name_recipient": frozenset({FRONT_OFFICE, MANAGER}),
    "settle": frozenset({FRONT_OFFICE}),
    "answer_device": frozenset({FRONT_OFFICE, OPERATOR}),
    "list_things": frozenset({FRONT_OFFICE, OPERATOR}),
    "give_back": frozenset({FRONT_OFFICE, MANAGER}),
    "compare_band": frozenset({FRONT_OFFICE, OPERATOR}),
    "relabel": frozenset({FRONT_OFFICE, OPERATOR}),
    "lift_hold": frozenset({MANAGER}),
    "house_rules": frozenset({MANAGER}),
    "state_wait_ground": frozenset({MANAGER}),
    "answer_law": frozenset({FRONT_OFFICE, MANAGER}),
    "settle_finding": frozenset({MANAGER}),
}
ALONE_BEFORE = ("expected", "in_care")


@dataclass(frozen=True)
class Power:
    """Whether a member may do an act, and who does it."""

    may: bool
    who: str


def power(member: StaffMember, roles: frozenset[Role]) -> Power:
    """Return whether the member holds one of the roles, and the roles in words."""
    return Power(bool(member.roles & roles), named(roles))


def powers(member: StaffMember, stage: str) -> dict[str, Power]:
    """Return the member's power for each act beside the steps, at this stage."""
    asked = WHO | {"name_recipient": may_name_recipient(stage)}
    own = member.roles
    return {act: Power(bool(own & roles), named(roles)) for act, roles in asked.items()}


def may_name_recipient(stage: str) -> frozenset[Role]:
    """Return who names a recipient: after the authorization only a manager."""
    return WHO["name_recipient"] if stage in ALONE_BEFORE else frozenset({MANAGER})


@cache
def named(roles: frozenset[Role]) -> str:
    """Return the roles in words, in one order: "front office or operator"."""
    return " or ".join(role.label for role in Role if role in roles)
