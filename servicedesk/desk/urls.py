"""Addresses of this room."""

from django.urls import path

from servicedesk.desk.views import (
    animals,
    bands,
    components,
    door,
    hand_over,
    instruments,
    ledger,
    office,
    own,
    setup,
    supplies,
    tank_photo,
)

app_name = "desk"
urlpatterns = [
    path("", office.home, name="home"),
    path("set-up/", setup.setup, name="setup"),
    path("today/", office.today, name="today"),
    path("tanks/", office.tanks, name="tanks"),
    path("tanks/<uuid:key>/", office.tank, name="tank"),
    path("upkeep/", office.upkeep, name="upkeep"),
    path("stores/", office.stores, name="stores"),
    path("hand-over/", hand_over.hand_over, name="hand_over"),
    path("ledger/", ledger.ledger, name="ledger"),
    path("ledger/work/<uuid:key>/again/", ledger.work_again, name="work_again"),
    path("ledger/mail/<uuid:key>/again/", ledger.mail_again, name="mail_again"),
    path("door/", door.door, name="door"),
    path("door/tanks/<uuid:key>/", door.tank, name="door_tank"),
    path("clients/", own.clients, name="clients"),
    path("clients/<uuid:key>/", own.client, name="client"),
    path("contacts/<uuid:key>/door/", own.contact_door, name="contact_door"),
    path("contacts/<uuid:key>/link/", own.contact_link, name="contact_link"),
    path("contacts/<uuid:key>/shut/", own.contact_shut, name="contact_shut"),
    path("tanks/<uuid:key>/own/", own.tank, name="own_tank"),
    path("animals/<uuid:key>/", animals.animals, name="animals"),
    path("tanks/<uuid:key>/photo/", tank_photo.tank_photo, name="tank_photo"),
    path("tanks/<uuid:key>/bands/", bands.bands, name="bands"),
    path("supplies/", supplies.items, name="items"),
    path("supplies/<uuid:key>/", supplies.item, name="item"),
    path("methods/", own.methods, name="methods"),
    path("own/<slug:kind>/new/", own.new, name="own_new"),
    path("own/<slug:kind>/<str:key>/", own.edit, name="own_edit"),
    path("own/<slug:kind>/<str:key>/retire/", own.retire, name="own_retire"),
    path("instruments/<uuid:key>/", instruments.instrument, name="instrument"),
    path("instruments/<uuid:key>/token/", instruments.token, name="token"),
    path("tokens/<uuid:key>/end/", instruments.token_end, name="token_end"),
    path("components/", components.components, name="components"),
]
