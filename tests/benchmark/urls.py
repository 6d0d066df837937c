"""Addresses of the benchmark: the site's own, and two stock admin lists of cases beside them."""

from typing import Any

from django.contrib import admin
from django.urls import path

from cases.models import Case
from crematory.urls import urlpatterns as site_urls


class OpenAdminSite(admin.AdminSite):
    """Admits every member: the staff has no permissions of the framework's kind."""

    def has_permission(self, request: Any) -> bool:
        return request.user.is_authenticated


class CaseAdmin(admin.ModelAdmin):
    """The framework's default list; only permissions are answered without asking."""

    def has_module_permission(self, request: Any) -> bool:
        return True

    def has_view_permission(self, request: Any, obj: Any = None) -> bool:
        return True

    def has_add_permission(self, request: Any) -> bool:
        return True

    has_change_permission = has_delete_permission = has_view_permission


class ColumnsAdmin(CaseAdmin):
    """The same list with the columns of the site's own list of persons; still 100 rows a page."""

    list_display = ("decedent_name", "years", "number", "disc_number", "stage", "stage_since",
                    "sender")  # fmt: skip
    list_select_related = ("disc", "facility")

    @admin.display(description="disc")
    def disc_number(self, case: Case) -> str:
        return case.disc.number if hasattr(case, "disc") else ""


bare, with_columns = OpenAdminSite("bare"), OpenAdminSite("columns")
bare.register(Case, CaseAdmin)
with_columns.register(Case, ColumnsAdmin)
urlpatterns = [
    path("benchmark-admin/", bare.urls),
    path("benchmark-columns/", with_columns.urls),
    *site_urls,
]
