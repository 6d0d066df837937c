"""The form of new labels on the containers of cremated remains: one scan a container."""

from typing import Any

from cases.forms.base import SignedForm
from cases.forms.fields import ScanField
from cases.forms.steps import LABEL_HELP
from cases.models import Case


class RelabelForm(SignedForm):
    """What is scanned on each container, in their order."""

    def __init__(self, *args: Any, case: Case, **kwargs: Any) -> None:
        super().__init__(*args, facility=case.facility, **kwargs)
        self.names: list[str] = []
        for container in case.containers.all():
            name = f"label_{container.position}"
            self.names.append(name)
            self.fields[name] = ScanField(
                label=f"Scan the new label on container {container.position}, {container.kind}",
                help_text=LABEL_HELP,
            )
        self.order_fields([*self.names, "signer_code", "signer_pin"])

    def scans(self) -> list[str]:
        """Return what was scanned, in the order of the containers."""
        return [self.cleaned_data[name] for name in self.names]
