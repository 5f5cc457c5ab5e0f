"""Addresses of this room."""

from django.urls import path

from servicedesk.watch import views

app_name = "watch"
urlpatterns = [
    path("alarms/", views.alarms, name="alarms"),
    path("alarms/<uuid:key>/", views.alarm, name="alarm"),
    path("alarms/<uuid:key>/seen/", views.seen, name="seen"),
    path("alarms/<uuid:key>/acted/", views.acted, name="acted"),
    path("alarms/<uuid:key>/handed/", views.handed, name="handed"),
    path("alarms/<uuid:key>/aside/", views.shelved, name="shelved"),
]
