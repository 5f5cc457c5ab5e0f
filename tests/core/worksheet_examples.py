"""One worked example of each worksheet, as people would type it."""

EXAMPLES: dict[str, dict[str, str]] = {
    "raise": {"parameter": "alkalinity", "value": "6,8", "value_u": "0.15", "goal": "8", "step": "1", "net_l": "400", "net_l_u": "20", "salt": "Na2CO3", "grams_per_l": "100", "ph": "8.0", "salinity": "35", "temperature": "25", "calcium": "420", "fresh": "9", "running": "20", "most": "200"},
    "change": {"parameter": "nitrate", "value": "60", "goal": "20", "net_l": "400", "fresh": "5", "mix_salinity": "35"},
    "several": {"net_l": "400", "rise_alkalinity": "1", "step_alkalinity": "0.5", "rise_calcium": "20", "rise_magnesium": "30", "p1_alkalinity": "20", "p2_calcium": "40", "p2_magnesium": "5", "p3_magnesium": "60"},
    "level": {"net_l": "400", "net_l_u": "20", "strength": "20", "running": "10", "most": "2000", "container": "300", "must_last": "36", "days": "0 3 7 10", "values": "8.0 7.9 7.6 7.5", "value_u": "0.1", "now": "7.5", "low": "6", "high": "11"},
    "right": {"m1": "7.9 8.0 8.1", "m1_rel": "5", "m1_step": "0.1", "m2": "8.2 8.3", "m2_abs": "0.3", "instrument": "9.4", "i_abs": "0.3", "i_step": "0.1"},
    "standard": {"assigned": "8.0", "assigned_u": "0.05", "results": "8.6 8.7 8.65", "step": "0.1", "reading": "9"},
    "batch": {"batch": "1250", "times": "1.25", "per_test": "7", "to_mark": "mark"},
    "volume": {"shape": "rectangle", "length": "120", "width": "60", "water": "55", "sump": "60", "rock": "40", "sand": "20", "added_ml": "250", "strength": "20", "before": "7.0", "after": "18.5", "test_u": "0.2", "believed": "460"},
    "ammonia": {"total": "0.5", "ph": "8.1", "temperature": "25", "salinity": "0"},
    "carbonate": {"alkalinity": "7.5", "ph": "8.1", "temperature": "25", "calcium": "420"},
    "carbon-dioxide": {"hardness": "4", "ph": "6.8", "temperature": "25"},
    "salinity": {"kind": "gravity", "reading": "1.0263", "temperature": "25", "reference": "25"},
    "chlorine": {"litres": "200", "free": "0.2", "chloramine": "0.8"},
    "noise": {"background": "52 54", "running": "58 60", "measured_m": "1", "listening_m": "3"},
}  # fmt: skip
