"""Addresses of this room."""

from django.urls import URLPattern

app_name = "upkeep"
urlpatterns: list[URLPattern] = []
