"""The cautions shown where work can hurt someone."""

from servicedesk.core.tables import read_json


def test_every_work_hazard_has_a_title_lines_and_a_source():
    hazards = read_json("hazards.json")["hazards"]

    assert [h["id"] for h in hazards] == [
        "mains", "acid", "oxidiser", "palytoxin", "infection", "sting", "lifting", "alone", "co2", "medicine",
    ]  # fmt: skip
    for hazard in hazards:
        assert set(hazard) == {"id", "title", "lines", "source"}
        assert hazard["title"]
        assert len(hazard["lines"]) >= 2
        assert hazard["source"]


def test_what_codes_and_law_govern_defers_to_them():
    lines = {h["id"]: " ".join(h["lines"]) for h in read_json("hazards.json")["hazards"]}

    assert all("ocal" in lines[name] for name in ("mains", "acid", "oxidiser", "co2", "medicine"))
    assert "licensed electrician" in lines["mains"]
    assert "veterinarian" in lines["medicine"]
