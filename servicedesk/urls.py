"""All addresses, room by room."""

from django.urls import include, path

urlpatterns = [
    path("", include("servicedesk.desk.urls")),
    path("", include("servicedesk.staff.urls")),
    path("", include("clients.urls")),
    path("", include("servicedesk.stock.urls")),
    path("", include("servicedesk.instruments.urls")),
    path("", include("servicedesk.watch.urls")),
    path("", include("servicedesk.upkeep.urls")),
    path("", include("servicedesk.supply.urls")),
    path("", include("servicedesk.rounds.urls")),
    path("", include("servicedesk.visits.urls")),
    path("", include("reports.urls")),
]
