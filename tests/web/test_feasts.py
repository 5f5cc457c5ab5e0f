"""Public holidays by country and region; checked against the dates of Easter (Meeus 1991, Astronomical Algorithms) and fixed feasts."""

from datetime import date

import pytest

from servicedesk.web.feasts import NoSuchPlace, public_holidays


def test_without_a_country_none_is_kept():
    assert public_holidays("", "", date(2026, 1, 1), date(2026, 12, 31)) == {}


def test_feasts_of_a_country_and_of_its_region_within_these_days():
    whole = public_holidays("DE", "", date(2026, 4, 1), date(2026, 6, 30))
    region = public_holidays("DE", "BY", date(2026, 4, 1), date(2026, 6, 30))

    easter = date(2026, 4, 5)  # by Meeus's rule
    assert [(day - easter).days for day in whole] == [
        -2,
        1,
        26,
        39,
        50,
    ]  # Good Friday, Monday, 1 May, Ascension, Whit Monday
    assert set(region) - set(whole) == {date(2026, 6, 4)}  # Corpus Christi, sixty days after Easter
    assert list(public_holidays("DE", "", date(2026, 12, 26), date(2027, 1, 2))) == [
        date(2026, 12, 26),
        date(2027, 1, 1),
    ]


@pytest.mark.parametrize(("country", "region"), [("ZZ", ""), ("DE", "ZZ")])
def test_a_place_that_is_not_known_is_said(country, region):
    with pytest.raises(NoSuchPlace, match=region or country):
        public_holidays(country, region, date(2026, 1, 1), date(2026, 1, 2))
