"""Who may authorize a cremation: ranks, numbers, objections. Pure: no Django, no database."""

from cases.authority.terms import CLASSES, EXCLUSIONS, Lesser, Quorum, Rank

__all__ = ["CLASSES", "EXCLUSIONS", "Lesser", "Quorum", "Rank"]
