"""Addresses of this room."""

from django.urls import URLPattern

app_name = "stock"
urlpatterns: list[URLPattern] = []
