"""Forms whose fields stand on a page one by one, without a layout's help."""

from django import forms


class Marked(forms.Form):
    """A form that gives its fields their classes."""

    def mark_fields(self) -> None:
        """Give the fields their classes, and the cursor to the first that has an error."""
        wrong = next((name for name in self.fields if name in self.errors), None)
        for name, field in self.fields.items():
            box = isinstance(field.widget, forms.CheckboxInput)
            chosen = isinstance(field.widget, forms.Select)
            style = "form-check-input" if box else "form-select" if chosen else "form-control"
            bad = " is-invalid" if name in self.errors else ""
            field.widget.attrs["class"] = style + bad
            if wrong:
                field.widget.attrs.pop("autofocus", None)
            if name == wrong:
                field.widget.attrs["autofocus"] = True
