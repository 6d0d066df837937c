"""Addresses of the pages that look over many persons, machines and places."""

from django.urls import path

from cases.views import house, house_rules, machine, own, permit, places, today, upkeep

urlpatterns = [
    path("", today.today, name="today"),
    path("machine/", machine.machines, name="machines"),
    path("machine/<slug:code>/", machine.machine, name="machine"),
    path("places/", places.places, name="places"),
    path("upkeep/", upkeep.overview, name="upkeep"),
    path("upkeep/<slug:code>/record/", upkeep.record, name="upkeep-record"),
    path("upkeep/<slug:code>/due/", upkeep.rule, name="upkeep-rule"),
    path("house/", house.house, name="house"),
    path("house/permits/<int:pk>/", permit.permit, name="permit"),
    path("house/rules/", house_rules.rules, name="house-rules"),
    path("house/rules/ask/", house_rules.ask_more, name="house-rule"),
    path("house/rules/back/", house_rules.take_back, name="house-rule-back"),
    path("house/my-pin/", house.my_pin, name="my-pin"),
    path("house/my-password/", own.my_password, name="my-password"),
    path("house/staff/add/", house.add_member, name="member-add"),
    path("house/staff/<slug:code>/", house.member, name="member"),
    path("house/staff/<slug:code>/<slug:act>/", house.member_act, name="member-act"),
]
