"""Addresses of the benchmark: the site's own, and the stock admin list of cases beside them."""

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


site = OpenAdminSite()
site.register(Case, CaseAdmin)
urlpatterns = [path("benchmark-admin/", site.urls), *site_urls]
