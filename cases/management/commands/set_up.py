"""`manage.py set_up HOUSE.toml`: set up a facility, or add what it lacks."""

import getpass
import secrets
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from cases import house_file, house_setup
from cases.house_setup import Credentials
from crematory.models import StaffMember
from crematory.signatures import set_pin


class Command(BaseCommand):
    """Adds what the file names and the database lacks; changes nothing that is there."""

    help = "Set up a facility from a TOML file (staff, permit, retorts, places)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("house", type=Path, help="the house file, such as my-house.toml")
        parser.add_argument(
            "--generate",
            action="store_true",
            help="make passwords and PINs at random and print them once, instead of asking",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        ask = self._generate if options["generate"] else self._ask
        try:
            added = house_setup.set_up(house_file.read(options["house"]), ask)
        except house_file.HouseFileError as error:
            raise CommandError(str(error)) from error
        if not added.codes:
            self.stdout.write("Everything in the file is there already; nothing was changed.")
        for kind, codes in added.codes.items():
            self.stdout.write(f"Added {kind}: {', '.join(codes)}")

    def _generate(self, member: house_file.StaffPlan) -> Credentials:
        made = Credentials(secrets.token_urlsafe(12), _random_pin(), are_given=True)
        self.stdout.write(
            f"{member.staff_code}: password {made.password}  PIN {made.pin}  "
            "(shown only now; this member chooses other ones at the first sign-in)"
        )
        return made

    def _ask(self, member: house_file.StaffPlan) -> Credentials:
        self.stdout.write(f"{member.printed_name} ({member.staff_code})")
        return Credentials(
            self._ask_until_good("Password", validate_password),
            self._ask_until_good("Signing PIN, 6 to 12 digits", _check_pin),
        )

    def _ask_until_good(self, what: str, check: Any) -> str:
        while True:
            typed = getpass.getpass(f"{what}: ")
            try:
                check(typed)
            except (ValidationError, ValueError) as error:
                messages = error.messages if isinstance(error, ValidationError) else [str(error)]
                self.stderr.write(" ".join(messages))
                continue
            if getpass.getpass(f"{what}, once more: ") == typed:
                return typed
            self.stderr.write("The two differ. Try again.")


def _random_pin() -> str:
    while True:
        pin = f"{secrets.randbelow(10**8):08d}"
        if len(set(pin)) >= 4:
            return pin


def _check_pin(pin: str) -> None:
    set_pin(StaffMember(), pin)
