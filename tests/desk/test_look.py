"""The tags of the look: what a page gets for its words and states."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django import forms
from django.template import Context, Template
from django.utils import translation

from servicedesk.core.drawing.chart import Chart, ChartSeries
from servicedesk.core.drawing.glyphs import GLYPHS
from servicedesk.core.drawing.levels import LevelRow
from servicedesk.core.drawing.strip import DayStrip, StripStop
from servicedesk.desk.templatetags import look

NOON = datetime(2026, 3, 18, 12, tzinfo=UTC)
CSS = Path(__file__).resolve().parents[2] / "servicedesk" / "static" / "css"


def shown(text: str, **context: object) -> str:
    return Template("{% load look %}" + text).render(Context(context)).strip()


class VolumeForm(forms.Form):
    volume = forms.IntegerField(label="Net volume", help_text="Without the stones.")
    seen = forms.BooleanField(label="Seen", required=False)
    way = forms.ChoiceField(label="Way", choices=[("a", "A"), ("b", "B")], widget=forms.RadioSelect)
    key = forms.CharField(widget=forms.HiddenInput)


def test_a_glyph_of_no_state_is_refused() -> None:
    with pytest.raises(KeyError):
        shown('{% glyph "red" %}')


def test_a_glyph_is_hidden_from_readers_aloud() -> None:
    assert shown('{% glyph "low" "row" %}') == (
        '<svg class="glyph glyph--row" viewBox="0 0 24 24" aria-hidden="true" focusable="false">'
        '<use href="/static/icons/glyphs.svg#low"/></svg>'
    )


def test_every_state_has_a_word_to_translate() -> None:
    with translation.override("en"):
        assert {name: str(word) for name, word in look.WORDS.items()} == {
            name: word for name, (word, _drawing) in GLYPHS.items()
        }


def test_a_word_of_state_is_escaped() -> None:
    text = shown('{% state_word "late" words %}', words="<9 days>")

    assert text.endswith("<span>&lt;9 days&gt;</span></span>")
    assert text.startswith('<span class="said" data-tone="out">')


def test_an_alarm_is_a_plate_and_nothing_else_is() -> None:
    plates = [name for name in GLYPHS if "verdict--alarm" in shown("{% verdict state %}", state=name)]

    assert plates == ["under", "over"]


def test_no_rows_say_so() -> None:
    assert "No value has been taken here yet." in shown("{% levels rows %}", rows=[])


def test_a_row_reads_without_its_picture() -> None:
    row = LevelRow("Alkalinity", "6.9", "dKH", 6.9, 7.2, 9.0, last=7.9, method="photometer", state="low")
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", shown("{% levels rows %}", rows=[row])))

    assert "Alkalinity photometer 6.9 dKH Below band" in text


def test_a_wrong_entry_stands_under_its_field_with_what_was_typed() -> None:
    form = VolumeForm({"volume": "78o", "way": "a", "key": "k"})
    text = shown("{% field form.volume %}", form=form)

    assert '<p class="field__error" id="id_volume_error">“78o”: Enter a whole number.</p>' in text
    assert 'aria-invalid="true"' in text
    assert 'aria-describedby="id_volume_helptext id_volume_error"' in text
    assert text.index("<label") < text.index("<input") < text.index("field__error")


def test_what_is_needed_is_named() -> None:
    assert '<p class="field__error" id="id_volume_error">Net volume is needed.</p>' in shown(
        "{% field form.volume %}", form=VolumeForm({"volume": ""})
    )


def test_what_was_typed_is_escaped() -> None:
    text = shown("{% field form.volume %}", form=VolumeForm({"volume": "<b>"}))

    assert "“&lt;b&gt;”" in text
    assert "<b>" not in text


def test_a_group_of_choices_has_a_legend_and_a_tick_its_label_beside_it() -> None:
    form = VolumeForm()

    assert "<legend>Way</legend>" in shown("{% field form.way %}", form=form)
    assert '<div class="tick"><input type="checkbox"' in shown("{% field form.seen %}", form=form)
    assert shown("{% field form.key %}", form=form) == '<input type="hidden" name="key" id="id_key">'


def test_a_chart_has_its_sentence_its_table_and_its_key() -> None:
    series = ChartSeries("photometer", "photometer", [(NOON, 8.0), (NOON + timedelta(days=1), 7.5)])
    text = shown("{% chart chart %}", chart=Chart(title="It falls.", unit="dKH", series=[series], zone=UTC))

    assert '<figcaption class="chart__says">It falls.</figcaption>' in text
    assert re.findall(r'<td class="number">(.*?)</td>', text) == ["7.5 dKH", "8 dKH"]
    assert re.findall(r'class="plot" width="(\d+)"', text) == ["340", "600", "840"]
    assert "</svg>photometer</li>" in text


def test_an_empty_chart_has_no_table() -> None:
    text = shown("{% chart chart %}", chart=Chart(title="Nothing known.", unit="dKH"))

    assert "Nothing has been measured in this time." in text
    assert "<details>" not in text


def test_a_strip_is_also_a_list() -> None:
    stop = StripStop(3, "Mill & Co", NOON, NOON + timedelta(hours=1), isolated=True)
    day = DayStrip(NOON, NOON + timedelta(hours=4), stops=(stop,), title="One stop.")

    assert "<li>Stop 3, Mill &amp; Co, 12:00 to 13:00, in isolation</li>" in shown("{% strip day %}", day=day)


def test_a_photo_that_is_missing_is_told() -> None:
    assert "No photo yet." in shown('{% photo "" "Hall" "today" %}')


@pytest.mark.parametrize(
    "name", sorted(path.name for path in CSS.glob("*.css") if path.name not in ("tokens.css", "report.css"))
)
def test_style_sheets_hold_no_colour_of_their_own(name: str) -> None:
    assert (
        re.findall(
            r"#[0-9a-fA-F]{3,8}\b|\brgba?\(|\bhsla?\(|\boklch\(|box-shadow|text-shadow",
            (CSS / name).read_text(),
        )
        == []
    )
