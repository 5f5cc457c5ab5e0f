"""Addresses of this room."""

from django.urls import path

from servicedesk.instruments import api

app_name = "instruments"
urlpatterns = [path("api/v1/deliveries/", api.Deliveries.as_view(), name="deliveries")]
