"""Addresses of this room."""

from django.urls import path

from servicedesk.rounds.views import load, round, week

app_name = "rounds"
urlpatterns = [
    path("round/", round.today, name="today"),
    path("load/", load.load, name="load"),
    path("look-up/", round.look_up, name="look_up"),
    path("week/", week.week, name="week"),
    path("week/visits/<uuid:visit>/", week.place, name="place"),
    path("round/changes/<uuid:key>/accept/", week.accept, name="accept"),
    path("stops/<uuid:visit>/key/", round.key, name="key"),
]
