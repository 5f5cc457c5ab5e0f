"""What follows from several parameters: against the functions they rest on, published values, and what is missing said."""

import math
import random

import pytest

from servicedesk.core.chemistry import relations as bench
from servicedesk.core.chemistry.ammonia import toxic_fraction_fresh
from servicedesk.core.chemistry.relations import MODELS, follows, relations, relations_in
from servicedesk.core.metrology.propagation import Known
from servicedesk.core.units import PARAMETERS

SEA = {"alkalinity": 7.0, "ph": 8.1, "temperature": 25.0, "salinity": 35.0}


def one(key, *, salt):
    return next(r for r in relations_in(salt=salt) if r.key == key)


def known(values, u=0.0):
    return {name: Known(value, u) for name, value in values.items()}


def test_every_relation_has_a_model_known_parameters_and_a_source():
    assert {r.key for r in relations()} == set(MODELS)
    for relation in relations():
        assert {*relation.needs, *relation.helps} <= PARAMETERS.keys(), relation.key
        assert relation.source and relation.water in ("salt", "fresh") and relation.decimals >= 0


def test_toxic_ammonia_of_fresh_water_is_its_share_of_all():
    """Emerson et al. 1975."""
    found = follows(
        one("toxic_ammonia", salt=False), known({"ammonia_total": 2.0, "ph": 8.0, "temperature": 25.0})
    )

    assert found.value == pytest.approx(2.0 * toxic_fraction_fresh(temperature_c=25.0, ph=8.0))
    assert found.expanded == 0


def test_aragonite_falls_with_the_ph_and_a_measured_calcium_counts():
    relation = one("aragonite", salt=True)
    high, low = (follows(relation, known({**SEA, "ph": ph})).value for ph in (8.2, 7.8))
    rich = follows(relation, known({**SEA, "ph": 8.2, "calcium": 500.0})).value

    assert high is not None and low is not None and rich is not None
    assert high > 2 * low and rich > high


def test_gravity_of_sea_water_of_35_at_25_degrees():
    """TEOS-10: density 1023.34 over 997.05 kg/m³."""
    assert follows(one("specific_gravity", salt=True), known({"salinity": 35.0})).value == pytest.approx(
        1023.343 / 997.047, abs=2e-5
    )


def test_oxygen_is_a_share_of_what_the_water_holds():
    found = follows(one("oxygen_share", salt=False), known({"dissolved_oxygen": 8.263, "temperature": 25.0}))

    assert found.value == pytest.approx(100, abs=0.5)


def test_carbon_dioxide_of_planted_water_doubles_with_its_hardness():
    relation = one("carbon_dioxide", salt=False)
    soft, hard = (
        follows(relation, known({"carbonate_hardness": kh, "ph": 7.0, "temperature": 25.0})).value
        for kh in (3.0, 6.0)
    )

    assert hard == pytest.approx(2 * soft)


def test_its_uncertainty_is_what_draws_of_the_inputs_show():
    relation, rng = one("toxic_ammonia", salt=False), random.Random(5)
    inputs = {"ammonia_total": Known(1.0, 0.1), "ph": Known(8.0, 0.05), "temperature": Known(25.0, 0.5)}
    found = follows(relation, inputs)
    drawn = [
        MODELS["toxic_ammonia"]({name: rng.gauss(k.value, k.u) for name, k in inputs.items()})
        for _ in range(20_000)
    ]
    mean = sum(drawn) / len(drawn)
    deviation = math.sqrt(sum((d - mean) ** 2 for d in drawn) / len(drawn))

    assert found.expanded == pytest.approx(2 * deviation, rel=0.05)


def test_what_is_missing_or_beyond_the_formulas_is_said_and_nothing_guessed():
    toxic = follows(one("toxic_ammonia", salt=True), known({"ammonia_total": 1.0, "salinity": 35.0}))
    assert toxic.value is None and toxic.why_not == "It needs pH and temperature of the same time."

    brackish = follows(one("aragonite", salt=True), known({**SEA, "salinity": 8.0}))
    assert brackish.value is None and "salinity" in brackish.why_not.lower()


def test_all_relations_of_both_waters_can_be_reckoned():
    values = {
        **SEA,
        "ammonia_total": 0.5,
        "dissolved_oxygen": 7.0,
        "carbonate_hardness": 5.0,
        "calcium": 420.0,
    }
    for salt in (True, False):
        for relation in relations_in(salt=salt):
            found = bench.follows(relation, known(values, u=0.01))
            assert found.value is not None and found.expanded > 0, (relation.key, found.why_not)
