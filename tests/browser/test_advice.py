"""Advice in parts on a telephone: what is said and what can be pressed stand apart, and nothing runs off the side."""

import pytest

from tests.browser.test_visit import sign_in
from tests.factories.tanks import make_channel, make_solution
from tests.visits.test_pages import Scene

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]  # a real browser
BOXES = """[...document.querySelectorAll('.row__words, .row__acts button')].map(e => {
  const b = e.getBoundingClientRect(); return [b.left, b.top, b.left + Math.max(b.width, e.scrollWidth), b.bottom]})"""


def apart(one, other):
    return one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]


@pytest.mark.parametrize("width", [360, 390, 768, 1024])
def test_words_and_buttons_of_advice_never_lie_on_each_other(live_server, open_page, width):
    scene = Scene()
    scene.tank.bands.filter(parameter="alkalinity").update(max_rise_per_day=0.4)
    make_channel(scene.tank, solution=make_solution("alkalinity", per_ml=1.0, composition="Na2CO3"))
    for parameter, value, unit in (("temperature", "25.4", "C"), ("salinity", "35.1", "PSS-78"), ("alkalinity", "6.9", "dKH")):  # fmt: skip
        scene.read(parameter, value, unit)
    eyes = open_page()
    sign_in(eyes, live_server, scene.ida)
    eyes.page.set_viewport_size({"width": width, "height": 900})
    eyes.page.goto(f"{live_server.url}/visits/{scene.visit.pk}/advise/")

    boxes = eyes.page.evaluate(BOXES)
    assert len(boxes) == 4  # two lines, and two buttons of the first
    assert all(right - left > 200 for left, _top, right, _bottom in boxes[:1])  # words have room to be read
    assert all(apart(a, b) for n, a in enumerate(boxes) for b in boxes[n + 1 :])
    assert eyes.page.evaluate("document.documentElement.scrollWidth") <= width
    assert eyes.errors == []
