"""Addresses of this room."""

from django.urls import URLPattern

app_name = "instruments"
urlpatterns: list[URLPattern] = []
