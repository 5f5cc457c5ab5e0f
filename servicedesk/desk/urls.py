"""Addresses of this room."""

from django.urls import path

from servicedesk.desk.views import door

app_name = "desk"
urlpatterns = [
    path("door/", door.door, name="door"),
    path("door/tanks/<uuid:key>/", door.tank, name="door_tank"),
]
