"""Building the demonstration's database: the house, and the last ten days of forty people."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction

from cases import house_file, house_setup
from cases.demo import diary, machines
from cases.demo.hands import Hands
from cases.demo.life import Life, Moments
from cases.demo.people import FOLDER, Person, course, people
from cases.demo.play import play
from cases.house_setup import Credentials
from crematory import clock
from crematory.models import Facility

HOUSE = FOLDER / "house.toml"
BEFORE = timedelta(days=diary.DAYS + 4)
CREMATED = ("recovered", "processed", "contained", "released")


def house(at: datetime, now: datetime) -> Hands:
    """Set up the invented house at `at` and return its hands; certificates run from `now`."""
    plan = plan_of(now)
    with clock.pinned(at):
        added = house_setup.set_up(
            plan, lambda member: Credentials(member.password, member.pin), for_demo=True
        )
        hands = Hands(added.facility, plan)
        machines.prepare(hands, now)
    return hands


def plan_of(now: datetime) -> house_file.HousePlan:
    """Return the plan of the invented house, its certificates dated from `now`."""
    plan = house_file.read(HOUSE)
    return plan.dated(now.astimezone(ZoneInfo(plan.facility["time_zone"])).date())


def build(now: datetime) -> Facility:
    """Build everything, in one transaction: all of it or nothing."""
    with transaction.atomic():
        hands = house(now - BEFORE, now)
        play((life.run() for life in lives(hands, now)), now)
    return hands.facility


def lives(hands: Hands, now: datetime) -> list[Life]:
    """Return everybody's way, with its times."""
    everybody = people()
    cremated = [p for p in everybody if p.until in CREMATED]
    places = diary.slots(now, hands.facility.zone)[-len(cremated) :]
    slot_of = dict(zip((id(p) for p in cremated), places, strict=True))
    run = course()
    return [
        Life(p, index, hands, run, _moments(p, index, hands, now, slot_of.get(id(p))))
        for index, p in enumerate(everybody)
    ]


def _moments(
    person: Person, index: int, hands: Hands, now: datetime, slot: diary.Slot | None
) -> Moments:
    zone = hands.facility.zone
    charge, retort = now, hands.retorts[0]
    if slot:
        charge, retort = slot.at, hands.retorts[slot.retort]
    if person.charged_minutes_ago:
        charge = now - timedelta(minutes=person.charged_minutes_ago)
        retort = hands.retorts[person.until == "in_retort"]
    if person.hours_ago is not None:
        arrival = now - timedelta(hours=person.hours_ago)
        return Moments(
            now, arrival if person.hours_ago < 12 else diary.office(arrival, zone), charge, retort
        )
    shift = timedelta(hours=22, minutes=(index * 47) % 180 - 90)
    return Moments(now, diary.office(charge - shift, zone), charge, retort)
