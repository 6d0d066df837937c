"""Addresses of the site."""

from django.contrib.auth.views import LogoutView
from django.urls import URLPattern, URLResolver, include, path

from crematory.login import StaffLoginView

urlpatterns: list[URLPattern | URLResolver] = [
    path("sign-in/", StaffLoginView.as_view(), name="login"),
    path("sign-out/", LogoutView.as_view(next_page="login"), name="logout"),
    path("", include("cases.overview_urls")),
    path("", include("cases.urls")),
]
