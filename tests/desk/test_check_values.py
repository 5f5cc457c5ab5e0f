"""The command that recomputes published values: its last line, its exit code, and files that cannot be read."""

import io
import re

import pytest
from django.core.management import CommandError, call_command
from django.test import Client as Browser

from tests.factories.people import make_client_user, make_owner, make_technician

SIGNED = "django.contrib.auth.backends.ModelBackend"
HEAD = "id,topic,quantity,inputs,expected,tolerance,tol_kind,unit,source,how\n"
RIGHT = 'a,units,temperature F -> C,"{""F"": 212}",100,1e-9,abs,C,definition,exact\n'
WRONG = 'b,units,temperature F -> C,"{""F"": 212}",101,0.5,abs,C,definition,memory\n'
NEAR = 'c,units,temperature F -> C,"{""F"": 212}",101,1e-3,rel,C,,exact\n'
UNKNOWN = 'd,weather,rain,"{}",1,1,abs,mm,an almanac,exact\n'


def said(*files):
    """What the command writes, and its exit code."""
    out = io.StringIO()
    try:
        call_command("check_values", *files, stdout=out)
    except SystemExit as ended:
        return out.getvalue().splitlines(), ended.code
    return out.getvalue().splitlines(), 0


@pytest.fixture
def file(tmp_path):
    def write(*rows, name="rows.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_bytes((HEAD + "".join(rows)).encode(encoding))
        return str(path)

    return write


def test_all_that_passes_ends_with_nought(file):
    lines, code = said(file(RIGHT))

    assert lines == [
        "== rows.csv",
        "passed  a; expected 100 C; got 100; off by 0 of at most 1e-09; definition",
        "1 passed, 0 failed, 0 unknown",
    ]
    assert code == 0


def test_one_that_fails_ends_with_one_and_every_row_is_still_said(file):
    lines, code = said(file(WRONG, NEAR), file(UNKNOWN, RIGHT, name="more.csv"))

    assert code == 1
    assert lines[-1] == "1 passed, 2 failed, 1 unknown"
    assert lines[-2] == "1 of these values are from memory: nobody has read them anywhere."
    assert lines[1] == "failed  b; expected 101 C; got 100; off by 1 of at most 0.5; definition; from memory"
    assert (
        lines[2] == "failed  c; expected 101 C; got 100; off by 0.99 % of at most 0.1 %; no source is named"
    )
    assert lines[4] == "unknown d; expected 1 mm; Nothing here computes this.; an almanac"


def test_a_file_with_a_mark_of_its_byte_order_is_read(file):
    assert said(file(RIGHT, encoding="utf-8-sig"))[1] == 0


def test_a_file_that_cannot_be_read_is_one_clear_sentence(file, tmp_path):
    with pytest.raises(CommandError, match=r"nowhere\.csv cannot be read: No such file"):
        said(str(tmp_path / "nowhere.csv"))
    with pytest.raises(CommandError, match="Row b: its tolerance is no number"):
        said(file(WRONG.replace(",0.5,", ",,")))
    with pytest.raises(CommandError, match=r"rows\.csv: .*utf-8"):
        said(file("é\n", encoding="latin-1"))


def test_without_a_file_those_of_the_project_are_recomputed():
    lines, _code = said()
    passed, failed, unknown = map(
        int, re.fullmatch(r"(\d+) passed, (\d+) failed, (\d+) unknown", lines[-1]).groups()
    )

    assert passed + failed + unknown == 384
    assert (passed, failed, unknown) == (382, 2, 0)


@pytest.mark.django_db
def test_the_page_leads_with_how_many_are_met_and_shows_first_what_is_not():
    browser = Browser()
    browser.force_login(make_owner(), backend=SIGNED)
    shown = browser.get("/check-values/").content.decode()

    assert "<b>382 of 384 published values are met</b>" in shown
    assert "5 are from memory" in shown
    assert shown.index("It agrees with every digit that is printed") < shown.index(
        "log10 K1 (Lueker et al. 2000)"
    )
    assert "1967.1456 umol/kg" in shown
    assert 'href="/check-values/"' in browser.get("/set-up/").content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize("make", [make_technician, make_client_user])
def test_the_page_is_the_offices(make):
    browser = Browser()
    browser.force_login(make(), backend=SIGNED)

    assert browser.get("/check-values/").status_code == 404
