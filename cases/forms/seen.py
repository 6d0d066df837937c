"""Forms that say what was shown beside them; and what is shown when more was recorded meanwhile."""

from collections.abc import Iterable, Sequence
from typing import Any, Self, TypeVar

from django import forms
from django.forms.boundfield import BoundField
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict

from cases import seen
from cases.forms.base import WritingForm
from cases.seen import Shown

LENGTH = 64
T = TypeVar("T", bound=Shown)


class SeenForm(WritingForm):
    """A form of a page whose rows count: `seen` is the mark of what stood on it."""

    seen = forms.CharField(required=False, max_length=LENGTH, widget=forms.HiddenInput)

    def show(self, rows: Sequence[T]) -> Sequence[T]:
        """Take it that these rows stand now; return those that stood on the page that was sent."""
        self.stands = seen.mark(rows)
        self.initial.setdefault("seen", self.stands)
        return seen.as_shown(rows, self.seen_sent) if self.is_bound else rows

    @property
    def seen_sent(self) -> str:
        """The mark that came with the form; "" where none did."""
        return str(self.data.get("seen", "")) if self.is_bound else ""

    def over(self, fresh: Self) -> QueryDict:
        """Return what to show: as typed what the person changed, all else as it stands in `fresh`.

        `fresh` is the same form, unbound, of the rows as they are now.
        """
        data = QueryDict(mutable=True)
        assert isinstance(self.data, MultiValueDict)  # it came with a request
        data.update(self.data)
        lay(data, fresh, but=[bound.name for bound in self if _is_typed(bound, data)])
        data["seen"] = fresh.stands
        return data

    def tell_meanwhile(self, sent: Self) -> None:
        """Say beside the fields what was recorded since `sent` was opened; by default nothing."""


def lay(data: QueryDict, fresh: forms.BaseForm, but: Iterable[str] = ()) -> None:
    """Write into `data` what a browser sends of the untouched form, but for these fields."""
    kept = {*but, "token"}
    for bound in fresh:
        if bound.name not in kept:
            data.setlist(bound.html_name, _as_sent(bound, bound.value()))


def _is_typed(bound: BoundField, data: QueryDict) -> bool:
    """Whether the browser sent something else than the untouched field; True and "True" are one."""
    opened = _as_sent(bound, bound.field.prepare_value(bound.initial))
    return [one for one in data.getlist(bound.html_name) if one] != [one for one in opened if one]


def _as_sent(bound: BoundField, value: Any) -> list[str]:
    """Return what a browser sends of a field that holds this value."""
    widget = bound.field.widget
    if isinstance(widget, forms.CheckboxInput):
        return ["on"] if value else []
    shown = widget.format_value(value)
    found = shown if isinstance(shown, list | tuple) else [shown]
    return [str(one) for one in found if one is not None]
