"""Every page there is, found by the addresses of the house and not by a list: axe finds no barrier in light or in dark, and
the console stays empty."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client as Browser

from servicedesk.desk.forms import KINDS
from tests.access.test_foreign import World, address_of, patterns
from tests.browser.test_visit import sign_in
from tests.factories.people import make_client_user
from tests.factories.stops import make_reef_to_test, make_stop
from tests.factories.tanks import make_contact

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser
PARTS = {"reports:progress", "rounds:searching", "rounds:trouble_search", "rounds:master_searching"}
"""What a page fetches and puts into itself: no page of its own."""
LIGHTS = {
    "light": {},
    "dark": {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}},
}
"""Every rule in light; in dark, which changes colours and nothing else, the rules about colour."""


@pytest.fixture
def world():
    made = World()
    made.client = make_client_user()
    make_contact(made.tank.site.client, user=made.client)
    made.open = make_stop(made.ida, make_reef_to_test())
    return made


def ways_to(world, name, item):
    """The addresses of one pattern, with what may stand for its parts: visits open and closed, every kind of own data."""
    if name == "desk:own_new":
        above = (world.tank, world.tank.site, world.tank.site.client, world.instrument, world.item)
        for kind in KINDS:
            address = address_of(item, name, {"kind": kind})
            yield from (address, *(f"{address}?in={row.pk}" for row in above))
    elif name == "desk:own_edit":
        rows = {kind: KINDS[kind].model.objects.first() for kind in KINDS}
        yield from (
            address_of(item, name, {"kind": kind, "key": row.pk}) for kind, row in rows.items() if row
        )
    else:
        yield address_of(item, name, world.keys(name))
        if name.startswith("visits:"):
            yield address_of(item, name, {"key": world.open.pk})


def pages(world, user):
    """Every address that shows this person a page: of a form for own data that may stand below several rows the first."""
    browser, found = Browser(), {}
    if user is not None:
        browser.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    for name, item in patterns():
        if name in PARTS:
            continue
        for address in ways_to(world, name, item):
            if address.partition("?")[0] in {known.partition("?")[0] for known in found}:
                continue
            answer = browser.get(address)
            if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
                found[address] = name
    return found


@pytest.mark.parametrize(("who", "least"), [("owner", 60), ("ida", 15), ("client", 5), (None, 2)])
def test_no_page_has_a_barrier_that_axe_finds_and_none_errs(world, live_server, open_page, who, least):
    user = getattr(world, who) if who else None
    eyes, barriers = open_page(), {}
    if user is not None:
        sign_in(eyes, live_server, user)
    asked = pages(world, user)
    for address in asked:
        eyes.page.goto(live_server.url + address)
        for scheme, rules in LIGHTS.items():
            eyes.page.emulate_media(color_scheme=scheme)
            for violation in Axe().run(eyes.page, options=rules).response["violations"]:
                seen = (address, scheme, violation["nodes"][0]["html"][:120])
                barriers.setdefault(violation["id"], []).append(seen)

    assert barriers == {}
    assert eyes.errors == []
    assert len(asked) >= least, sorted(asked.values())
