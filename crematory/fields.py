"""A form field for a quantity: typed in the facility's units, cleaned to the stored unit."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.html import escape, format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from crematory import units as measures
from crematory.units import KindName, QuantityError, UnitSystem


class _WithoutTemplate:
    """The framework's input, written without its templates: forms stand on pages asked for often.

    The classes keep the framework's names, by which form layouts know them.
    """

    def _render(self, template_name: str, context: dict[str, Any], renderer: Any = None) -> str:
        widget = context["widget"]
        given = {"type": widget["type"], "name": widget["name"], "value": widget["value"]}
        return format_html("<input{}>", _attributes(given | widget["attrs"]))


def _attributes(given: dict[str, Any]) -> SafeString:
    """Write attributes in their order; True stands for one without value."""
    said = ((name, value) for name, value in given.items() if value is not None)
    parts = (
        f" {escape(name)}" if value is True else format_html(' {}="{}"', name, value)
        for name, value in said
        if value is not False
    )
    return mark_safe("".join(parts))  # noqa: S308 - every part is escaped


class TextInput(_WithoutTemplate, forms.TextInput):
    """A line of text."""


class DateTimeInput(_WithoutTemplate, forms.DateTimeInput):
    """A day and a time."""


class QuantityField(forms.CharField):
    """Text such as "182 lb"; `clean` answers a Decimal in the stored unit, None when left empty.

    `minimum` and `maximum` are Decimals in the stored unit. Where the facility is known only
    when the form is made, the form calls `use_units`.
    """

    widget = TextInput

    def __init__(
        self,
        *,
        kind: KindName,
        units: UnitSystem = "us",
        minimum: Decimal | None = None,
        maximum: Decimal | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.kind, self.minimum, self.maximum = kind, minimum, maximum
        self._own_help_text = self.help_text
        self.use_units(units)

    def use_units(self, units: UnitSystem) -> None:
        """Take plain numbers in these units from now on, and say so in the help text."""
        self.units = units
        help_text = format_lazy(
            _("A plain number is in {unit}. Other units: write them, for example {examples}."),
            unit=measures.unit_symbol(measures.default_unit(self.kind, units)),
            examples=measures.KINDS[self.kind].examples,
        )
        self.help_text = (
            format_lazy("{} {}", self._own_help_text, help_text)
            if self._own_help_text
            else help_text
        )

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        """A keyboard with digits; no suggestions from what was typed for somebody else."""
        return super().widget_attrs(widget) | {"inputmode": "decimal", "autocomplete": "off"}

    def prepare_value(self, value: Any) -> Any:
        """Show a stored Decimal in the facility's units; leave what was typed as it is."""
        if isinstance(value, Decimal):
            return measures.entry_text(value, self.kind, self.units)
        return value

    def to_python(self, value: Any) -> Any:
        """Read the text; raises ValidationError with code "quantity" and advice."""
        if isinstance(value, Decimal):
            return value
        text = super().to_python(value)
        if text is None or text in self.empty_values:
            return None
        try:
            return measures.parse_quantity(
                text,
                self.kind,
                measures.default_unit(self.kind, self.units),
                minimum=self.minimum,
                maximum=self.maximum,
            )
        except QuantityError as error:
            raise ValidationError(str(error), code="quantity") from error
