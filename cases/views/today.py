"""Today: what waits, for whom, and since when."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cases import holds, overview
from cases.law import CHECK_LOCALLY
from cases.pressing import pressing
from cases.roles import WHO, power
from cases.views.kept import UNTIL, Kept
from cases.views.requests import StaffRequest
from crematory import clock


@require_safe
def today(request: StaffRequest) -> HttpResponse:
    """Holds first, then the persons who wait for each step; the retorts and the free places."""
    facility = request.facility

    def read() -> dict[str, Any]:
        now = clock.now()
        machines, cases = overview.machines_as_they_are(facility, now), overview.opened(facility)
        return {
            "holds": [(hold, holds.not_told(hold)) for hold in overview.open_holds(facility)],
            "pressing": pressing(facility, cases, now),
            "check_locally": CHECK_LOCALLY,
            "groups": overview.waiting(facility, cases),
            "machines": machines,
            "free_places": overview.free_places(facility),
            UNTIL: overview.next_change(machines, now),
        }

    waiting = Kept(request).part("cases/_today.html", read)
    announcing = power(request.user, WHO["announce"])
    return render(request, "cases/today.html", {"waiting": waiting, "announcing": announcing})
