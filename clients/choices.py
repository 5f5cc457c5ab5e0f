"""Words of the trade for clients and their tanks."""

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _


class WaterType(TextChoices):
    REEF_SOFT = "reef_soft", _("soft coral reef")
    REEF_MIXED = "reef_mixed", _("mixed reef")
    REEF_STONY = "reef_stony", _("stony coral reef")
    MARINE_FISH = "marine_fish", _("marine, fish only")
    BRACKISH = "brackish", _("brackish")
    FRESH_COMMUNITY = "fresh_community", _("fresh water, community")
    FRESH_SOFT = "fresh_soft", _("soft water")
    PLANTED = "planted", _("planted")
    CICHLID_HARD = "cichlid_hard", _("hard-water cichlids")
    COLDWATER = "coldwater", _("cold water")
    POND = "pond", _("pond")


class TankState(TextChoices):
    NORMAL = "normal", _("normal")
    CYCLING = "cycling", _("cycling")
    TREATMENT = "treatment", _("treatment")
    ISOLATION = "isolation", _("isolation")
    LOW_SALINITY = "low_salinity", _("low-salinity treatment")
    HEAT = "heat", _("heat treatment")
    WINTER = "winter", _("winter rest")


class EquipmentKind(TextChoices):
    RETURN_PUMP = "return_pump", _("return pump")
    CIRCULATION = "circulation", _("circulation pump")
    HEATER = "heater", _("heater")
    CHILLER = "chiller", _("chiller")
    SKIMMER = "skimmer", _("skimmer")
    FILTER = "filter", _("filter")
    UV = "uv", _("UV lamp")
    LIGHT = "light", _("light")
    TOP_UP = "top_up", _("top-up")
    DOSING_PUMP = "dosing_pump", _("dosing pump")
    INSTRUMENT = "instrument", _("instrument")
    PURIFIER = "purifier", _("water purifier")
    OTHER = "other", _("other")


class LivestockChange(TextChoices):
    ADDED = "added", _("added")
    DIED = "died", _("died")
    MOVED = "moved", _("moved out")


class SightReason(TextChoices):
    ROUND = "round", _("own round")
    CALL_OUT = "call_out", _("call-out")
