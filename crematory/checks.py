"""System checks: what must hold before the site runs, each with its remedy."""

import platform
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Tags, Warning, register

PANGO = {
    "Linux": "Debian or Ubuntu: apt install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0",
    "Darwin": "macOS: brew install pango",
    "Windows": "Windows: follow the first steps of WeasyPrint's documentation (Pango by MSYS2)",
}


def pango_missing() -> str:
    """Return why the PDF library cannot load, or "" if it can."""
    import contextlib
    import io

    try:
        # A missing library makes WeasyPrint print a banner before it raises.
        with contextlib.redirect_stdout(io.StringIO()):
            import weasyprint  # noqa: F401
    except OSError as error:
        return str(error).splitlines()[0]
    return ""


@register()
def check_pango(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """W001: papers cannot be printed; the rest of the site runs."""
    reason = pango_missing()
    if not reason:
        return []
    remedy = PANGO.get(platform.system(), PANGO["Linux"])
    return [
        Warning(f"Papers cannot be printed: {reason}", hint=remedy, id="crematory.W001"),
    ]


@register(Tags.security, deploy=True)
def check_pepper(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """W002: PINs without a pepper can be searched in a stolen database."""
    if len(settings.SIGNING_PEPPER) >= 32:
        return []
    return [
        Warning(
            "SIGNING_PEPPER is shorter than 32 characters.",
            hint="Set SIGNING_PEPPER (or SIGNING_PEPPER_FILE), kept outside the database. "
            "Changing it later makes every signing PIN invalid.",
            id="crematory.W002",
        )
    ]
