"""Addresses of this room."""

from django.urls import path

from servicedesk.visits import api
from servicedesk.visits.views import steps, work

app_name = "visits"
urlpatterns = [
    path("api/v1/sync/", api.Sync.as_view(), name="sync"),
    path("api/v1/photos/<uuid:key>/", api.PhotoDoor.as_view(), name="photo_put"),
    path("photos/<uuid:key>/", work.photo, name="photo"),
    path("visits/<uuid:key>/", steps.look, name="visit"),
    path("visits/<uuid:key>/arrive/", steps.arrive, name="arrive"),
    path("visits/<uuid:key>/cautions/", steps.cautions, name="cautions"),
    path("visits/<uuid:key>/test/", steps.test, name="test"),
    path("visits/<uuid:key>/sheet/", steps.sheet, name="sheet"),
    path("visits/<uuid:key>/work/", work.work, name="work"),
    path("visits/<uuid:key>/advise/", steps.advise, name="advise"),
    path("visits/<uuid:key>/leave/", work.leave, name="leave"),
    path("visits/<uuid:key>/add/", work.add, name="add"),
    path("visits/<uuid:key>/photo/", work.add_photo, name="photo_add"),
    path("visits/<uuid:key>/closed/", work.closed, name="closed"),
]
