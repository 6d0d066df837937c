"""Addresses of the cases: those of one case under /cases/, the list and the scan beside them."""

from django.urls import URLPattern, URLResolver, include, path

from cases.views import (
    case,
    controller,
    documents,
    happened,
    holds,
    law_questions,
    loggers,
    lost_disc,
    machine,
    papers,
    persons,
    relabel,
    right,
    run,
    sent,
    side,
    steps,
    things,
    trail,
    wait,
)

app_name = "cases"

# Addresses of the whole house; they stand before those that begin with a case number.
house_routes: list[URLPattern] = [
    path("announce/", side.announce, name="announce"),
]

case_routes: list[URLPattern] = [
    path("<str:number>/", case.detail, name="case"),
    path("<str:number>/steps/<slug:verb>/", steps.step, name="step"),
    path("<str:number>/recover/lost-disc/", lost_disc.lost_disc, name="lost-disc"),
    path("<str:number>/run/", run.run, name="run"),
    path("<str:number>/run/chart.json", run.chart, name="run-chart"),
    path("<str:number>/run/chart.svg", run.picture, name="run-picture"),
    path("<str:number>/run/findings/<slug:digest>/", run.settle, name="settle-finding"),
    path("<str:number>/documents/", documents.documents, name="documents"),
    path("<str:number>/files/", documents.take_in, name="take-in"),
    path("<str:number>/files/<str:token>/", documents.file, name="file"),
    path("<str:number>/files/<str:token>/original/", documents.original, name="file-original"),
    path("<str:number>/files/<str:token>/<int:page>.png", documents.page, name="file-page"),
    path("<str:number>/files/<str:token>/set-aside/", documents.set_aside, name="set-aside"),
    path("<str:number>/agents/", right.agents, name="agents"),
    path("<str:number>/agents/classes/", right.classes, name="agent-classes"),
    path("<str:number>/agents/review/", right.review, name="agent-review"),
    path("<str:number>/agents/<int:pk>/", right.say, name="agent"),
    path("<str:number>/agents/<int:pk>/known/", right.known, name="agent-known"),
    path("<str:number>/recipients/", side.recipients, name="recipients"),
    path("<str:number>/settle/", side.settle, name="settle"),
    path("<str:number>/devices/", side.devices, name="devices"),
    path("<str:number>/things/", things.things, name="things"),
    path("<str:number>/things/give-back/", things.give_back, name="give-back"),
    path("<str:number>/wait/", wait.ground, name="wait"),
    path("<str:number>/law/", law_questions.questions, name="law"),
    path("<str:number>/band/", side.band, name="band"),
    path("<str:number>/hold/", holds.hold, name="hold"),
    path("<str:number>/holds/<int:pk>/", holds.held, name="held"),
    path("<str:number>/holds/<int:pk>/lift/", holds.lift, name="lift"),
    path("<str:number>/relabel/", relabel.relabel, name="relabel"),
    path("<str:number>/correct/", side.correct, name="correct"),
    path("<str:number>/move/", side.move, name="move"),
    path("<str:number>/print/<slug:kind>/", papers.print_kind, name="print"),
    path("<str:number>/write/<slug:kind>/", papers.write_kind, name="write"),
    path("<str:number>/papers/<str:paper>.pdf", papers.paper, name="paper"),
    path("<str:number>/papers/<str:paper>.txt", papers.paper_text, name="paper-text"),
    path("<str:number>/papers/<str:paper>/", papers.by_hand, name="by-hand"),
]

overview_routes: list[URLPattern] = [
    path("persons/", persons.persons, name="list"),
    path("persons/scan/", persons.scan, name="scan"),
    path("persons/export.csv", persons.export, name="export"),
    path("machine/<slug:code>/readings/", machine.reading, name="reading"),
    path(
        "machine/<slug:code>/readings/<int:pk>/correct/",
        machine.correct,
        name="correct-reading",
    ),
    path("machine/<slug:code>/events/", happened.event, name="event"),
    path("machine/<slug:code>/events/<slug:kind>/", happened.signed_event, name="signed-event"),
    path("house/clock/", sent.time, name="clock"),
    path("machine/<slug:code>/controller/", controller.controller, name="controller"),
    path("machine/<slug:code>/log/", loggers.log, name="log"),
    path("machine/<slug:code>/log/files/<int:pk>/", loggers.original, name="log-file"),
    path("machine/<slug:code>/log/<str:token>/", loggers.look_at, name="log-look"),
    path("cases/<str:number>/trail/", trail.trail, name="trail"),
]

urlpatterns: list[URLPattern | URLResolver] = [
    *overview_routes,
    path("cases/", include([*house_routes, *case_routes])),
]
