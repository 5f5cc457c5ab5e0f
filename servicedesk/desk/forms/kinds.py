"""Kinds of own data: which fields an owner types, and their words."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from clients.models import Client, Contact, Equipment, Livestock, ServicePlan, Site, Tank, TankStateRow
from servicedesk.dispatch.models import Gateway
from servicedesk.dosing.models import Channel, Solution
from servicedesk.instruments.models import Candidate, Instrument, Measure, SentDose, SentSign
from servicedesk.stock.models import Item, Lot, Place
from servicedesk.upkeep.models import TaskRule
from servicedesk.watch.models import Away, Duty, Reach
from servicedesk.water.models import Band, ChangeWater, Method, TankChangeWater, TankTest


@dataclass(frozen=True)
class Kind:
    """One kind of own data: its model, the fields an owner types, the column that names its parent, the fields that
    only owners see and set (prices, secrets), and words."""

    name: str
    title: Any
    model: type[Model]
    fields: tuple[str, ...]
    parent: str = ""
    guarded: tuple[str, ...] = ()


KINDS = {
    k.name: k
    for k in (
        Kind("client", _("Client"), Client, ("name", "phone", "email", "address", "internal_notes", "since")),
        Kind("contact", _("Contact"), Contact, ("name", "email", "phone", "gets_reports"), "client"),
        Kind(
            "site",
            _("Site"),
            Site,
            ("name", "address", "town", "lat", "lon", "opens", "closes", "way_in", "water_and_drain", "on_site_phone", "cautions", "key_code"),
            "client",
        ),
        Kind("tank", _("Tank"), Tank, ("name", "place", "water_type", "gross_l", "net_l", "net_l_u", "since", "order"), "site"),
        Kind("equipment", _("Equipment"), Equipment, ("tank", "kind", "name", "place", "fitted_on", "back_on_check", "notes"), "site"),
        Kind(
            "plan",
            _("Service plan"),
            ServicePlan,
            ("name", "tanks", "every_weeks", "weekday", "tolerance_days", "minutes", "preferred_time", "technician", "price", "starts_on", "ends_on"),
            "site",
            ("price",),
        ),
        Kind("state", _("Tank state"), TankStateRow, ("state", "from_on", "until_on", "why"), "tank"),
        Kind("animals", _("Animals"), Livestock, ("name", "species", "since", "source", "sensitive_to"), "tank"),
        Kind("rule", _("Recurring task"), TaskRule, ("title", "how", "every", "unit", "starts_on", "before_days", "after_days", "minutes", "equipment", "hazards", "carry", "carry_amount"), "tank"),
        Kind("band", _("Band"), Band, ("parameter", "unit", "low", "target", "high", "alarm_low", "alarm_high", "max_rise_per_day", "max_fall_per_day"), "tank"),
        Kind("test", _("Test on each visit"), TankTest, ("parameter", "method", "order", "every_days"), "tank"),
        Kind("channel", _("Dosing channel"), Channel, ("equipment", "number", "solution", "container_ml", "step_ml", "max_ml_per_day", "driven"), "tank"),
        Kind("instrument", _("Instrument"), Instrument, ("equipment", "reports_by", "interval_minutes", "grace_minutes", "says_faults", "warm_up_minutes", "own_standard", "own_dosing", "dosing_channel", "dose_low", "dose_high", "after_dose_minutes", "upkeep_words", "mqtt_name", "relays", "through", "relay_name"), "tank"),
        Kind("measure", _("What it measures"), Measure, ("parameter", "sent_name", "unit", "method", "reagent", "made_up", "ml_per_test", "tests_per_day", "minutes_per_test", "bottle_ml", "calibrate_every_days", "low_volts", "low_value", "high_volts", "high_value"), "instrument"),
        Kind("sign", _("What it says of itself"), SentSign, ("sent_name", "kind"), "instrument"),
        Kind("sent_dose", _("What it reports to have dosed"), SentDose, ("sent_name", "channel"), "instrument"),
        Kind("duty", _("Line of the rota"), Duty, ("person", "weekdays", "begins", "ends", "order")),
        Kind("away", _("Holiday"), Away, ("person", "from_on", "until_on", "why")),
        Kind("gateway", _("Gateway"), Gateway, ("name", "url", "body", "template", "header", "signing_key"), "", ("url", "header", "signing_key")),
        Kind("reach", _("Way to reach somebody"), Reach, ("person", "gateway", "reached_at", "told_of")),
        Kind("item", _("Supply"), Item, ("name", "kind", "unit", "pack_size", "price_per_pack", "lead_days", "supplier", "shelf"), "", ("price_per_pack",)),
        Kind("place", _("Store or van"), Place, ("name", "kind", "keeper")),
        Kind("lot", _("Lot"), Lot, ("code", "expires_on", "opened_on"), "item"),
        Kind("solution", _("Dosing solution"), Solution, ("parameter", "per_ml", "per_ml_u_rel", "composition"), "item"),
        Kind("water", _("Water for changes"), ChangeWater, ("name", "kind", "usual", "tested_on", "salinity", "alkalinity_dkh", "general_hardness_dgh", "calcium_mg_l", "magnesium_mg_l", "nitrate_mg_l")),
        Kind("tank_water", _("Water for changes"), TankChangeWater, ("water",), "tank"),
        Kind("candidate", _("Way to choose from"), Candidate, ("name", "measures", "unattended", "most_per_day", "setup_minutes", "upkeep_minutes", "test_minutes", "price", "month_cost", "test_cost", "noise_db", "needs_mains", "needs_network", "needs_drain", "needs_shelf", "cannot_tell", "fails_by"), "", ("price", "month_cost", "test_cost")),
        Kind("method", _("Way of testing"), Method, ("parameter", "name", "kind", "tolerance_abs", "tolerance_rel", "resolution", "unit", "reference_c", "compensates", "minutes", "reagent", "ml_per_test")),
    )
}  # fmt: skip
LABELS: dict[str, Any] = {
    "measures": _("What it measures, and how good: a line each, as Alkalinity 0.4"),
    "unattended": _("It tests by itself"),
    "most_per_day": _("Most tests a day"),
    "setup_minutes": _("Minutes to set it up"),
    "upkeep_minutes": _("Minutes of upkeep a month"),
    "test_minutes": _("Minutes of a person a test"),
    "month_cost": _("Fixed cost a month"),
    "test_cost": _("Reagent and wear a test"),
    "noise_db": _("How loud where people sit, dB(A)"),
    "needs_mains": _("It needs mains"),
    "needs_network": _("It needs a network"),
    "needs_drain": _("It needs a drain"),
    "needs_shelf": _("It needs a shelf"),
    "cannot_tell": _("What it cannot tell"),
    "fails_by": _("How it fails"),
    "internal_notes": _("Notes for us only"),
    "email": _("Mail address"),
    "opens": _("Opens at"),
    "closes": _("Closes at"),
    "way_in": _("How one gets in"),
    "water_and_drain": _("Where water and drain are"),
    "on_site_phone": _("Phone at the site"),
    "place": _("Where it stands"),
    "order": _("Order in lists"),
    "tanks": _("Which tanks"),
    "minutes": _("Minutes it takes"),
    "preferred_time": _("The time they like best"),
    "technician": _("Who usually comes"),
    "price": _("Price per visit"),
    "starts_on": _("First day"),
    "ends_on": _("Last day"),
    "from_on": _("From"),
    "until_on": _("Until"),
    "how": _("How it is done"),
    "every": _("Every so many"),
    "before_days": _("Days earlier that are fine"),
    "after_days": _("Days later that are fine"),
    "carry_amount": _("How much of it"),
    "every_days": _("Every so many days"),
    "container_ml": _("The container holds, mL"),
    "step_ml": _("Smallest step, mL"),
    "max_ml_per_day": _("Most a day, mL"),
    "pack_size": _("A pack holds"),
    "composition": _("What is in it"),
    "resolution": _("Smallest step it shows"),
    "reagent": _("Reagent it uses"),
    "alarm_low": _("Lower limit"),
    "alarm_high": _("Upper limit"),
    "max_rise_per_day": _("Most it may rise a day"),
    "max_fall_per_day": _("Most it may fall a day"),
    "gets_reports": _("Gets the reports by mail"),
    "lat": _("Latitude"),
    "lon": _("Longitude"),
    "key_code": _("Key or code (a secret)"),
    "gross_l": _("Gross volume, L"),
    "net_l": _("Net volume, L"),
    "net_l_u": _("How sure: standard uncertainty, L"),
    "back_on_check": _("Must run again before anyone leaves"),
    "every_weeks": _("Every so many weeks"),
    "weekday": _("Weekday"),
    "tolerance_days": _("Days earlier or later that are fine"),
    "tolerance_abs": _("Stated tolerance, absolute"),
    "tolerance_rel": _("Stated tolerance, as a fraction (0.05 is 5 %)"),
    "per_ml": _("Strength: units × L per mL"),
    "per_ml_u_rel": _("Its relative standard uncertainty"),
    "carry": _("Carry along"),
    "sent_name": _("Name under which it sends the value"),
    "ml_per_test": _("mL of reagent per test"),
    "tests_per_day": _("Tests a day"),
    "bottle_ml": _("A full bottle holds, mL"),
    "calibrate_every_days": _("Calibrate every so many days"),
    "interval_minutes": _("Reports every so many minutes"),
    "grace_minutes": _("Minutes late that are fine"),
    "reports_by": _("How it reports"),
    "says_faults": _("It can report that something is wrong with it"),
    "warm_up_minutes": _("Minutes until it is warm"),
    "own_standard": _("It has a standard of its own"),
    "own_dosing": _("What it doses by itself"),
    "dosing_channel": _("Which channel it drives"),
    "dose_low": _("It doses from (set-point)"),
    "dose_high": _("It stops at (set-point)"),
    "after_dose_minutes": _("Minutes after a dose until a test counts"),
    "upkeep_words": _("Work it needs, and when"),
    "low_volts": _("An analogue line: at so many volts"),
    "low_value": _("it means"),
    "high_volts": _("and at so many volts"),
    "high_value": _("it means this"),
    "mqtt_name": _("Its name on the MQTT broker"),
    "relays": _("It relays other instruments: they come through it"),
    "through": _("It comes through this relay"),
    "relay_name": _("Its name at the relay"),
    "made_up": _("Its reagent is made up by us"),
    "minutes_per_test": _("Minutes a test takes"),
    "driven": _("An instrument drives it"),
    "url": _("Its address"),
    "body": _("What it wants is"),
    "template": _("What is sent to it, with {to}, {subject}, {text} and {id} where the words go"),
    "header": _("A line that it wants, as “X-Key: …” (a secret)"),
    "signing_key": _("Signing key, “whsec_…” (a secret)"),
    "reached_at": _("Number or name there"),
    "told_of": _("Told of"),
    "weekdays": _("On which days"),
    "begins": _("From"),
    "ends": _("Until (the same as from: all day)"),
    "cautions": _("Work hazards here, shown before hands go in"),
    "hazards": _("Work hazards of this task"),
    "sensitive_to": _("Sensitive to"),
    "keeper": _("In the name of"),
    "lead_days": _("Days to come after ordering"),
    "reference_c": _("Its scale refers to, °C"),
    "compensates": _("It shows the value as at that temperature, whatever the water's"),
    "usual": _("Taken for every tank of its kind that names no other"),
    "tested_on": _("Tested on"),
    "alkalinity_dkh": _("Alkalinity or carbonate hardness, dKH"),
    "general_hardness_dgh": _("General hardness, dGH"),
    "calcium_mg_l": _("Calcium, mg/L"),
    "magnesium_mg_l": _("Magnesium, mg/L"),
    "nitrate_mg_l": _("Nitrate, mg/L NO3"),
    "water": _("Which water"),
}
