"""An instrument's page: what it measures, the passes by which it writes, each shown once and ended at once."""

import re
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from servicedesk.instruments.actions import make_token, replace_token, use_token
from servicedesk.instruments.models import Measure, Token
from tests.factories.people import make_business, make_owner, make_technician
from tests.factories.tanks import make_instrument, make_measure, make_method

pytestmark = pytest.mark.django_db


def signed_in(user):
    make_business()
    browser = Browser()
    browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return browser


def test_a_technician_neither_makes_nor_ends_a_pass():
    instrument = make_instrument()
    row, text = make_token(instrument=instrument, at=timezone.now())
    browser = signed_in(make_technician())

    answers = [browser.post(f"/instruments/{instrument.pk}/token/"), browser.post(f"/tokens/{row.pk}/end/")]

    assert [a.status_code for a in answers] == [404, 404]
    assert Token.objects.count() == 1
    assert use_token(text=text, at=timezone.now()) == row


def test_looking_at_the_address_that_makes_passes_makes_none():
    instrument = make_instrument()

    assert signed_in(make_owner()).get(f"/instruments/{instrument.pk}/token/").status_code == 405
    assert Token.objects.count() == 0


def test_a_label_that_is_too_long_is_refused_and_no_pass_is_made():
    instrument = make_instrument()

    page = signed_in(make_owner()).post(f"/instruments/{instrument.pk}/token/", {"label": "x" * 61})

    assert "x" * 61 in page.content.decode()
    assert Token.objects.count() == 0


def test_a_pass_is_shown_once_and_listed_by_its_label_afterwards():
    instrument, browser = make_instrument(), signed_in(make_owner())

    once = browser.post(f"/instruments/{instrument.pk}/token/", {"label": "cellar gateway"}).content.decode()
    page = browser.get(f"/instruments/{instrument.pk}/").content.decode()

    row = Token.objects.get()
    text = once.split("<code>")[1].split("</code>")[0]
    assert use_token(text=text, at=timezone.now()) == row
    assert ("cellar gateway" in page, row.start in page, "never used" in page) == (True, True, True)
    assert text not in page


def test_a_pass_that_is_ended_opens_nothing_any_more_and_stays_listed():
    instrument, browser = make_instrument(), signed_in(make_owner())
    row, text = make_token(instrument=instrument, at=timezone.now())

    page = browser.post(f"/tokens/{row.pk}/end/", follow=True).content.decode()

    assert use_token(text=text, at=timezone.now()) is None
    assert (row.start in page, "ended" in page, "End it" in page) == (True, True, False)


def test_what_an_instrument_measures_is_added_listed_and_changed():
    instrument, method, browser = make_instrument(), make_method("alkalinity"), signed_in(make_owner())
    typed = {"parameter": "alkalinity", "sent_name": "kh", "unit": "dKH", "method": str(method.pk), "ml_per_test": "0.5", "tests_per_day": "4", "minutes_per_test": "5", "bottle_ml": "250", "calibrate_every_days": "30"}  # fmt: skip

    page = browser.post(f"/own/measure/new/?in={instrument.pk}", typed, follow=True)
    row = Measure.objects.get()
    browser.post(f"/own/measure/{row.pk}/", {**typed, "sent_name": "alk"})

    row.refresh_from_db()
    assert page.request["PATH_INFO"] == f"/instruments/{instrument.pk}/"
    assert f"/own/measure/{row.pk}/" in page.content.decode()
    assert (row.sent_name, row.bottle_ml) == ("alk", 250)


@pytest.mark.parametrize("kind", ["measure", "band"])
def test_a_unit_in_which_the_parameter_is_not_measured_is_refused(kind):
    instrument, method = make_instrument(), make_method("alkalinity")
    inside = {"measure": instrument.pk, "band": instrument.tank_id}[kind]

    page = signed_in(make_owner()).post(
        f"/own/{kind}/new/?in={inside}",
        {"parameter": "alkalinity", "sent_name": "kh", "unit": "furlong", "method": str(method.pk), "ml_per_test": "0", "tests_per_day": "0", "minutes_per_test": "0", "bottle_ml": "0", "calibrate_every_days": "30"},
    ).content.decode()  # fmt: skip

    assert "is not measured in “furlong”" in page
    assert Measure.objects.count() + instrument.tank.bands.count() == 0


@pytest.mark.parametrize("count", [1, 3])
def test_the_page_asks_as_often_for_three_passes_as_for_one(count, django_assert_num_queries):
    instrument, browser = make_instrument(), signed_in(make_owner())
    for number in range(count):
        make_token(instrument=instrument, at=timezone.now())
        make_measure(instrument, ["alkalinity", "calcium", "ph"][number], unit="dKH")

    with django_assert_num_queries(22):
        assert browser.get(f"/instruments/{instrument.pk}/").status_code == 200


def test_a_pass_is_replaced_and_both_open_for_a_day():
    make_business()
    instrument, now = make_instrument(), timezone.now()
    row, old = make_token(instrument=instrument, at=now, label="hall")
    browser = Browser()
    browser.force_login(make_owner(), backend="django.contrib.auth.backends.ModelBackend")

    text = browser.post(f"/tokens/{row.pk}/replace/").content.decode()

    new = re.search(r"trk_[\w-]{40,}", text).group()
    assert new != old and "opens for a day more" in text
    for hours, both in ((1, True), (23, True), (25, False)):
        at = now + timedelta(hours=hours)
        assert (use_token(text=old, at=at) is not None) is both
        assert use_token(text=new, at=at) is not None
    browser.post(f"/tokens/{row.pk}/end/")
    assert browser.post(f"/tokens/{row.pk}/replace/").status_code == 404


def test_a_pass_that_ends_sooner_is_not_made_to_last():
    instrument, now = make_instrument(), timezone.now()
    row, _text = make_token(instrument=instrument, at=now, expires_at=now + timedelta(hours=2))

    replace_token(token=row, at=now)

    row.refresh_from_db()
    assert row.expires_at == now + timedelta(hours=2)
