"""The facility, and the people who work in it."""

import zoneinfo
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models


def validate_time_zone(value: str) -> None:
    """Refuse a name that the time-zone database does not know."""
    try:
        zoneinfo.ZoneInfo(value)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError) as error:
        raise ValidationError(
            f"“{value}” is not a time zone. Use a name such as America/Denver."
        ) from error


class Facility(models.Model):
    """One crematory. Every other row belongs to one, and its members see no other."""

    class Units(models.TextChoices):
        US = "us", "US customary"
        METRIC = "metric", "Metric"

    class Language(models.TextChoices):
        ENGLISH = "en", "English"
        SPANISH = "es", "Spanish"

    name = models.CharField(max_length=200)
    address = models.TextField()
    telephone = models.CharField(max_length=40, blank=True)
    licence_number = models.CharField(max_length=60, blank=True)
    time_zone = models.CharField(max_length=60, validators=[validate_time_zone])
    units = models.CharField(max_length=6, choices=Units, default=Units.US)
    language = models.CharField(max_length=2, choices=Language, default=Language.ENGLISH)
    jurisdiction = models.CharField(max_length=20)
    added_rules = models.JSONField(
        default=dict, blank=True, help_text="What the house asks beyond the law: {path: value}."
    )
    log_origin = models.CharField(
        max_length=200,
        unique=True,
        help_text="Name of this facility's custody trail: a schema-less address, no spaces.",
        validators=[RegexValidator(r"^[A-Za-z0-9.\-/_]+$")],
    )
    case_prefix = models.CharField(
        max_length=4, unique=True, validators=[RegexValidator(r"^[A-Z]{2,4}$")]
    )

    class Meta:
        verbose_name_plural = "facilities"

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        """The facility's time zone."""
        return zoneinfo.ZoneInfo(self.time_zone)


class Role(models.TextChoices):
    """What a member may sign."""

    FRONT_OFFICE = "front_office", "front office"
    OPERATOR = "operator", "operator"
    MANAGER = "manager", "manager"


class StaffManager(BaseUserManager["StaffMember"]):
    """Makes members; `normalize` lets a code be typed in any case."""

    def get_by_natural_key(self, username: str | None) -> "StaffMember":
        return self.select_related("facility").get(staff_code=(username or "").strip().upper())

    def create_member(self, *, password: str, pin: str, **fields: Any) -> "StaffMember":
        """Create a member with a log-in password and a signing PIN."""
        from crematory.signatures import set_pin

        member = self.model(**fields)
        member.staff_code = member.staff_code.upper()
        member.set_password(password)
        set_pin(member, pin)
        member.full_clean()
        member.save()
        return member


class StaffMember(AbstractBaseUser):
    """A member of the staff: logs in with a password, signs each act with code and PIN."""

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="staff")
    staff_code = models.CharField(
        max_length=12,
        unique=True,
        validators=[RegexValidator(r"^[A-Z0-9]{2,12}$", "2 to 12 letters or digits.")],
    )
    printed_name = models.CharField(max_length=200)
    is_front_office = models.BooleanField(default=False)
    is_operator = models.BooleanField(default=False)
    is_manager = models.BooleanField(default=False)
    certificate_number = models.CharField(max_length=60, blank=True)
    certificate_expires_on = models.DateField(null=True, blank=True)
    pin_hash = models.CharField(max_length=200)
    pin_failures = models.PositiveSmallIntegerField(default=0)
    pin_locked_until = models.DateTimeField(null=True, blank=True)
    # What somebody else chose and knows signs and opens nothing until its owner changed it.
    pin_is_given = models.BooleanField(default=False)
    password_is_given = models.BooleanField(default=False)
    is_active = models.BooleanField(default=True)

    objects = StaffManager()

    USERNAME_FIELD = "staff_code"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta:
        ordering = ["staff_code"]

    def __str__(self) -> str:
        return f"{self.printed_name} ({self.staff_code})"

    @property
    def roles(self) -> frozenset[Role]:
        """The roles that this member holds."""
        held = {
            Role.FRONT_OFFICE: self.is_front_office,
            Role.OPERATOR: self.is_operator,
            Role.MANAGER: self.is_manager,
        }
        return frozenset(role for role, has in held.items() if has)


class SignInTries(models.Model):
    """Wrong passwords for one staff code from one address, under a keyed digest of the two."""

    key = models.CharField(max_length=64, unique=True)
    failures = models.PositiveSmallIntegerField(default=0)
    locked_until = models.DateTimeField(null=True, blank=True)
    since = models.DateTimeField(db_index=True)

    class Meta:
        verbose_name_plural = "sign-in tries"

    def __str__(self) -> str:
        return f"{self.failures} since {self.since:%Y-%m-%d %H:%M}"
