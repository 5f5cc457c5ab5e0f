"""Addresses of this room."""

from django.urls import path

from servicedesk.rounds import views

app_name = "rounds"
urlpatterns = [
    path("round/", views.today, name="today"),
    path("load/", views.load, name="load"),
    path("look-up/", views.look_up, name="look_up"),
    path("week/", views.week, name="week"),
    path("stops/<uuid:visit>/key/", views.key, name="key"),
]
