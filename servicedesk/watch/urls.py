"""Addresses of this room."""

from django.urls import path

from servicedesk.watch import views

app_name = "watch"
urlpatterns = [
    path("alarms/", views.alarms, name="alarms"),
    path("alarms/worker.js", views.worker, name="worker"),
    path("alarms/browsers/", views.browsers, name="browsers"),
    path("alarms/browsers/on/", views.browser_on, name="browser_on"),
    path("alarms/browsers/<uuid:key>/off/", views.browser_off, name="browser_off"),
    path("alarms/browsers/<uuid:key>/told/", views.browser_told, name="browser_told"),
    path("alarms/browsers/<uuid:key>/trial/", views.browser_trial, name="browser_trial"),
    path("alarms/<uuid:key>/", views.alarm, name="alarm"),
    path("alarms/<uuid:key>/seen/", views.seen, name="seen"),
    path("alarms/<uuid:key>/acted/", views.acted, name="acted"),
    path("alarms/<uuid:key>/handed/", views.handed, name="handed"),
    path("alarms/<uuid:key>/aside/", views.shelved, name="shelved"),
]
