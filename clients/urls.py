"""Addresses of this room."""

from django.urls import path

from clients import views

app_name = "clients"
urlpatterns = [path("tank-photos/<uuid:key>/", views.tank_photo, name="tank_photo")]
