"""The page of components: every state of every part at once, with invented values, for whoever draws pages."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from math import sin

from django import forms
from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from servicedesk.core.drawing.chart import Chart, ChartEvent, ChartFault, ChartSeries, EstimatePoint
from servicedesk.core.drawing.glyphs import GLYPHS
from servicedesk.core.drawing.levels import LevelRow
from servicedesk.core.drawing.overlay import DayOverlay, OverlayDay
from servicedesk.core.drawing.sketch import Sketch, SketchStop
from servicedesk.core.drawing.strip import DayStrip, StripStop
from servicedesk.desk.queries.ahead import Ahead
from servicedesk.instruments.choices import Trust

NOON = datetime(2026, 3, 18, 12, 0, tzinfo=UTC)
LIGHTS = (("day", "Day"), ("cellar", "Cellar"), ("sun", "Sun"))
VERDICTS = (
    ("in", "8.0 dKH. Where it should be, as on 4 March."),
    ("low", "6.9 dKH, 0.3 under the low mark."),
    ("over", "Ammonia 0.6 mg/L. Act now: change a third of the water with matched mix."),
    ("again", "4.1 dKH. History expects 6.7 to 7.2 today."),
)


def components(request: HttpRequest) -> HttpResponse:
    """Shown to the owner, and to anybody where DEBUG is on; others meet nothing here."""
    if not (settings.DEBUG or getattr(request.user, "is_owner", False)):
        raise Http404
    return render(request, "desk/components.html", showcase())


def showcase() -> dict[str, object]:
    """Everything that the page shows."""
    return {
        "lights": LIGHTS,
        "glyphs": list(GLYPHS),
        "verdicts": VERDICTS,
        "levels": level_rows(),
        "form": ShownForm({"name": "", "net_volume": "78o", "water": "", "round": "no"}, auto_id="shown_%s"),
        "needs": needs_rows(),
        "day": day(),
        "calm_day": DayStrip(
            shift_start=NOON.replace(hour=8), shift_end=NOON.replace(hour=16), title="No stops."
        ),
        "chart": chart(),
        "empty_chart": Chart(title="Phosphate: nothing is known yet.", unit="mg/L"),
        "sketch": round_sketch(),
        "overlay": overlay(),
        "trusts": list(Trust),
        "trend": [7.9, 8.1, 8.0, None, 8.0, 7.7, 7.4, 6.9],
        "no_trend": [],
        "table": table(),
        "steps": steps(),
    }


class ShownForm(forms.Form):
    """A form with one of each field, with what a wrong entry looks like."""

    name = forms.CharField(label="Name of the tank", help_text="As people call it on the site.")
    net_volume = forms.CharField(label="Net volume")
    water = forms.ChoiceField(
        label="Water", choices=[("", "Choose one"), ("reef", "Stony corals"), ("pond", "Pond")]
    )
    round = forms.ChoiceField(
        label="Left running?",
        choices=[("yes", "Everything is back on"), ("no", "Something is off")],
        widget=forms.RadioSelect,
    )
    seen = forms.BooleanField(
        label="All animals were seen", help_text="Count them at feeding.", required=False
    )
    words = forms.CharField(
        label="What should be told", widget=forms.Textarea(attrs={"rows": 3}), required=False
    )

    def clean_net_volume(self) -> str:
        typed = str(self.cleaned_data["net_volume"])
        if not typed.isdigit():
            raise forms.ValidationError(f"“{typed}” is not a number. Did you mean 780?")
        return typed


def _alkalinity(value: float, last: float, method: str, state: str, *, here: bool = False) -> LevelRow:
    return LevelRow(
        "Alkalinity",
        f"{value}",
        "dKH",
        value,
        7.2,
        9.0,
        6.3,
        11.0,
        last,
        method=method,
        state=state,
        here=here,
    )


def level_rows() -> list[LevelRow]:
    """One row of each state that a level can have."""
    return [
        LevelRow("Salinity", "35.1", "", 35.1, 34, 36, 32, 38, 34.9, method="cell", state="in"),
        _alkalinity(6.9, 7.9, "photometer", "low", here=True),
        _alkalinity(9.6, 8.4, "titration kit", "high"),
        _alkalinity(6.1, 7.4, "photometer", "under"),
        LevelRow("Nitrate", "27", "mg/L", 27, 1, 12, None, 25, 15, method="photometer", state="over"),
        _alkalinity(4.1, 7.4, "photometer", "again"),
        _alkalinity(8.2, 8.0, "titrator", "check"),
        replace(_alkalinity(8.1, 8.0, "photometer, believed", "in"), trust="believed"),
        replace(_alkalinity(6.8, 8.0, "titrator, new reagent", "low"), trust="to_check"),
        replace(_alkalinity(6.1, 8.0, "titrator, air in its line", "under"), trust="not_to_act_on"),
        LevelRow("Conductivity", "51.0", "mS/cm", 51.0, 51.6, 54.4, method="cell", state="doubt"),
        LevelRow("Calcium", low=390, high=460, last=428, last_text="last 428 mg/L", kind="not_tested"),
        LevelRow("Magnesium", "about 1310", "mg/L", 1310, 1250, 1400, kind="expected", state="in"),
        LevelRow("Calcium", "about 380", "mg/L", 380, 390, 460, 350, 500, kind="inferred", state="low"),
        LevelRow("Ammonia", "0", "mg/L N", 0.0, None, 0.05, None, 0.2, method="strip", state="in"),
        LevelRow("Potassium", "402", "mg/L", 402, method="laboratory", word="No band is set", state="none"),
    ]


def _need(
    state: str, subject: str, sentence: str, ahead: Ahead, act: str, **rest: object
) -> dict[str, object]:
    return {
        "state": state,
        "subject": subject,
        "sentence": sentence,
        "ahead": ahead,
        "act_label": act,
        "act_url": "#needs",
        **rest,
    }


def needs_rows() -> list[dict[str, object]]:
    """Rows of the owner's list: help that comes in time, help that does not, none in sight, harm that is not dated."""
    silent = "Three instruments fell silent together at 06:12: power or line first."
    nobody = "Nobody of ours is planned to be there."
    late = "Nobody is there before Friday 20 March, 09:00 (Ilka)."
    in_time = "Help comes in time: Ilka is there at 12:24."
    falling, under = "Alkalinity 7.0 dKH, falling 0.5 a day.", "Alkalinity 6.1 dKH, under the limit of 6.3."
    doubt = "The titrator is 1.40 under the last test by hand: look at its reagent."
    line = "All three send through one line, and their last values agree with the forecast."
    held = "It tells of a death. It waits for your word."
    return [
        _need("under", "The hall tank", under, Ahead("Harm has begun", late, 45.0, 0.0), "See the tank"),
        _need("silent", "Harbour school, the whole site", silent, Ahead("Harm in about 6 h", nobody, None, 6.0),
              "Call the caretaker", why=line),
        _need("low", "The reef left of the bar", falling, Ahead("Harm in about 24 h", in_time, 2.5, 24.0),
              "Tell Ilka", subject_url="#needs", why_url="#chart", act_post=True),
        _need("check", "The wall of fans", doubt, Ahead("Harm is not dated", "Ilka is there at 15:10.", 6.0),
              "See the tank"),
        _need("held", "Yesterday’s report for the weir house", held, Ahead("No hurry", "held for 18 h"),
              "Read and release"),
    ]  # fmt: skip


def day() -> DayStrip:
    """A day with everything in it: done, planned, waiting, isolation, a door that shuts, and an end too late."""

    def at(hours: float) -> datetime:
        return NOON.replace(hour=0) + timedelta(hours=hours)

    return DayStrip(
        shift_start=at(7.8),
        shift_end=at(16.5),
        stops=(
            StripStop(1, "Mill", at(8.1), at(8.75), "done"),
            StripStop(2, "Weir", at(9.05), at(9.75), "done"),
            StripStop(3, "Library", at(10.1), at(10.75)),
            StripStop(4, "Clinic", at(11), at(11.5)),
            StripStop(5, "The bar", at(12.4), at(13.4)),
            StripStop(6, "Farm", at(13.75), at(14.4), arrives=at(13.6)),
            StripStop(7, "School", at(14.9), at(15.9), isolated=True, shuts=at(15.5)),
        ),
        lunch=(at(11.6), at(12.1)),
        now=at(9.85),
        leaves=at(7.9),
        home=at(16.9),
        title="Seven stops, two done; home 24 minutes after the shift ends.",
    )


def round_sketch() -> Sketch:
    """A round of six, two of them behind, two at one site, from the store and back to it."""
    places = [(52.03, 0.47), (52.05, 0.51), (52.045, 0.55), (52.0, 0.56), (52.0, 0.56), (51.98, 0.5)]
    stops = [
        SketchStop(number, f"Stop {number}", lat, lon, "done" if number < 3 else "planned")
        for number, (lat, lon) in enumerate(places, start=1)
    ]
    return Sketch("Six stops, two done: the mill, the weir, then the school twice.", stops, (52.0, 0.45))


def overlay() -> DayOverlay:
    """A week of pH by the hour, with a silence on the third day and today as far as ten."""
    days = []
    for number in range(7):
        hours = [h / 2 for h in range(21 if number == 6 else 48) if number != 2 or not 12 < h < 26]
        points = [(h, 8.15 + 0.12 * sin((h - 9) / 24 * 6.283) + 0.01 * number) for h in hours]
        days.append(OverlayDay((NOON - timedelta(days=6 - number)).date(), points))
    title = "pH over 7 days by the hour: between 8.03 and 8.32, later than last week."
    return DayOverlay(title, "", days, low=7.9, high=8.4, now=10.0)


def chart() -> Chart:
    """A month of alkalinity by three methods, with a silence, a fall, a fault and what lies ahead."""
    now = NOON
    start = now - timedelta(days=28)
    titrated = []
    for index in range(56):
        at, days = start + timedelta(hours=12 * index), index / 2
        if not 9.5 < days < 11.5:
            titrated.append((at, 8.0 + 0.12 * sin(days * 1.7) - max(0.0, days - 17) * 0.1))
    ahead = [
        EstimatePoint(now + timedelta(days=step), 6.9 - 0.12 * step, 6.75 - 0.2 * step, 7.05 - 0.04 * step)
        for step in range(6)
    ]
    behind = [EstimatePoint(at, value, value - 0.15, value + 0.15) for at, value in titrated]
    return Chart(
        title="Alkalinity left its band on Monday and falls 0.12 a day; the limit is four to seven days off.",
        unit="dKH",
        series=(
            ChartSeries("titrator, every 12 h", "titrator", titrated, joined=False),
            ChartSeries("photometer", "photometer", [(start + timedelta(days=2), 8.05), (now, 6.9)]),
            ChartSeries("titration kit", "titration", [(start + timedelta(days=2, hours=1), 7.8)]),
        ),
        low=7.2,
        high=9.0,
        limit_low=6.3,
        estimate=(*behind, *ahead),
        estimate_gap=timedelta(days=1),
        events=(
            ChartEvent(start + timedelta(days=2), "visit"),
            ChartEvent(start + timedelta(days=2), "dose", "32 to 34 mL"),
            ChartEvent(start + timedelta(days=14), "visit"),
            ChartEvent(start + timedelta(days=14), "change", "80 L"),
            ChartEvent(start + timedelta(days=14), "reagent", "new lot"),
            ChartEvent(now, "calibration"),
        ),
        faults=(ChartFault(start + timedelta(days=17), now, "channel 2 delivers 18 % less"),),
        now=now,
        end=now + timedelta(days=5),
    )


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of the shown table."""

    text: str
    numeric: bool = False
    note: str = ""
    url: str = ""


def table() -> dict[str, object]:
    """A table with a link, a note and a column of numbers."""
    return {
        "caption": "What runs out",
        "columns": [
            {"label": "What"},
            {"label": "Left", "numeric": True},
            {"label": "Empty on", "numeric": True},
        ],
        "rows": [
            [
                Cell("Alkalinity reagent", url="#tables", note="van 2"),
                Cell("9 tests", True),
                Cell("Wed 25 March", True),
            ],
            [Cell("Calcium solution"), Cell("1.1 L", True), Cell("Mon 30 March", True)],
        ],
    }


def steps() -> list[dict[str, object]]:
    """The five steps of a visit, the first done, the second open."""
    names = ("Look", "Test", "Work", "Advise", "Leave")
    return [
        {"label": name, "url": "#steps", "done": name == "Look", "here": name == "Test"} for name in names
    ]
