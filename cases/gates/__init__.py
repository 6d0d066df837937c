"""The gates in front of each step, one module a part of the path."""

from cases.gates import after, before, clearing, lost_disc, machine, papers
from cases.gates.base import ASKED, GATES, PASSED, REFUSED, TITLES, Situation, Verdict, ask_all

__all__ = [
    "ASKED",
    "GATES",
    "PASSED",
    "REFUSED",
    "TITLES",
    "Situation",
    "Verdict",
    "after",
    "ask_all",
    "before",
    "clearing",
    "lost_disc",
    "machine",
    "papers",
]
