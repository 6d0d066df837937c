"""What a cremation puts into the air, by published factors. Pure.

EMEP/EEA air pollutant emission inventory guidebook, chapter 5.C.1.b.v Cremation, Tier 1, per
body: ALL FROM MEMORY, since the chapter could not be read; national reports confirm that these
defaults are in use. A factor is an order of magnitude: Taiwan measured 200 to 500 times the
dioxins (Wang et al. 2003, ES&T 37:62), Germany's inspectors found a hundredth of the mercury.

Mercury is in GRAMS a body, the other metals in milligrams.
"""

from dataclasses import dataclass

from retort_log.permit_rules import Mark

GRAMS = {"kg": 1e3, "g": 1.0, "mg": 1e-3, "ug": 1e-6}
CITATION = "EMEP/EEA guidebook 5.C.1.b.v, Tier 1 (from memory)"


@dataclass(frozen=True)
class Factor:
    """An emission factor per body, in its own unit of mass."""

    value: float
    unit: str
    mark: Mark = Mark.MEMORY
    citation: str = CITATION

    def grams(self, bodies: int) -> float:
        """Return what so many bodies put out, in grams."""
        return self.value * GRAMS[self.unit] * bodies


def _all(unit: str, **values: float) -> dict[str, Factor]:
    return {name: Factor(value, unit) for name, value in values.items()}


PER_BODY: dict[str, Factor] = {
    **_all("kg", NOx=0.825, CO=0.140, NMVOC=0.013, SOx=0.113),
    **_all("g", TSP=38.56, PM10=34.70, Hg=1.49),
    "PM2.5": Factor(34.70, "g"),
    **_all("mg", Pb=30.03, Cd=5.03, As=13.61, Cr=13.56, Cu=12.43, Ni=17.33, Se=19.78, Zn=160.12),
    **_all("mg", PCB=0.41, HCB=0.15),
    "PCDD/F": Factor(0.027, "ug"),  # I-TEQ
    "benzo(a)pyrene": Factor(13.20, "ug"),
    "benzo(b)fluoranthene": Factor(7.21, "ug"),
    "benzo(k)fluoranthene": Factor(6.44, "ug"),
    "indeno(1,2,3-cd)pyrene": Factor(6.99, "ug"),
}


def emitted_grams(bodies: int) -> dict[str, float]:
    """Return the grams of each pollutant that so many bodies put out, by these factors.

    Raises ValueError for a negative count.
    """
    if bodies < 0:
        raise ValueError("There is no negative number of bodies.")
    return {name: factor.grams(bodies) for name, factor in PER_BODY.items()}
