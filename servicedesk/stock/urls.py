"""Addresses of this room."""

from django.urls import path

from servicedesk.stock import views

app_name = "stock"
urlpatterns = [
    path("supplies/<uuid:key>/receive/", views.receive, name="receive"),
    path("supplies/<uuid:key>/count/", views.count, name="count"),
    path("supplies/<uuid:key>/move/", views.move, name="move"),
    path("van/", views.van, name="van"),
]
