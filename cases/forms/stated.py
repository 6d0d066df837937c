"""Times that a page states: as somebody typed them, or by the clock that the server gave it."""

from datetime import UTC, datetime, timedelta

from django import forms

from cases.forms.fields import LATEST_YEAR

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MS = timedelta(milliseconds=1)
# No page ran before the first of these years: what states less is no such number.
FIRST_MS, LAST_MS = (
    (datetime(year, 1, 1, tzinfo=UTC) - EPOCH) // MS for year in (2020, LATEST_YEAR)
)


class StatedMoment(forms.Form):
    """When something happened: as typed, or as a page reckoned it by the server's clock."""

    stated_ms = forms.IntegerField(
        min_value=FIRST_MS, max_value=LAST_MS, required=False, widget=forms.HiddenInput
    )

    def moment(self) -> datetime | None:
        """Return the stated time; None means now. The form must be valid."""
        typed: datetime | None = self.cleaned_data["at"]
        ms = self.cleaned_data["stated_ms"]
        return typed or (None if ms is None else EPOCH + ms * MS)
