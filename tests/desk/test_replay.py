"""A recorded fleet, made here, played through intake and sweep: what the watch says is written, and nothing is known before it was posted."""

import csv
import os
import random
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import transaction

from servicedesk.desk.management.commands.replay import play
from servicedesk.desk.management.replaying.said import HEADS

BEGUN = datetime(2025, 5, 5, tzinfo=UTC)
DAYS = 24
EVERY = timedelta(hours=6)


def iso(at):
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")


def write(folder, name, rows):
    with (folder / name).open("w", newline="") as lines:
        writer = csv.DictWriter(lines, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def reading(at, source, method, parameter, value, unit, *, late=0.05, replicate=1, system="S001"):
    return {
        "time_posted": iso(at + timedelta(hours=late)), "time_measured": iso(at), "system": system, "source": source, "method": method,
        "parameter": parameter, "value": value, "unit": unit, "replicate": replicate,
    }  # fmt: skip


def event(at, subject, kind, value="", *, parameter="", unit="", level="", system="S001"):
    return {
        "time": iso(at), "time_posted": iso(at + timedelta(hours=1)), "system": system, "subject": subject, "kind": kind, "parameter": parameter,
        "value": value, "unit": unit, "level_after": level, "lot": "", "note": "",
    }  # fmt: skip


def titrator(rng, at, silent_from):
    """Six tests a day; from a day on nothing; a pump that it drives."""
    if at >= silent_from:
        return []
    value = f"{8 + rng.gauss(0, 0.06):.2f}"
    return [
        reading(at, "S001-AT", "automatic titrator", "alkalinity", value, "dKH"),
        reading(at, "S001-AT", "automatic titrator", "dosed_volume", f"{20 + rng.random():.2f}", "mL"),
    ]


def probe(rng, at, stuck_from):
    """Every two hours in a unit of its own; from a day on the same."""
    value = 53.0 if at >= stuck_from else 53 + rng.gauss(0, 0.12)
    return [reading(at, "S001-CD", "electronic probe", "conductivity", f"{value * 1000:.0f}", "uS/cm")]


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    """One tank: a titrator that falls silent on day 18, a probe stuck from day 17, a container empty on day 20, tests by hand each week."""
    folder, rng = tmp_path_factory.mktemp("fleet"), random.Random(4)
    write(folder, "systems.csv", [{"system": "S001", "timezone": "Europe/Lisbon", "water_type": "reef_mixed", "gross_l": 400, "net_volume_l": 410,
          "visit_interval_d": 7, "water_change_share": 0.1, "mix_alkalinity": 8, "mix_calcium": 420, "mix_magnesium": 1300, "mix_salinity": 35}])  # fmt: skip
    write(folder, "bands.csv", [
        {"system": "S001", "parameter": p, "unit": u, "target": t, "low": lo, "high": hi, "alarm_low": al, "alarm_high": ah, "safe_daily_change": d}
        for p, u, t, lo, hi, al, ah, d in (("alkalinity", "dKH", 8, 7.5, 8.5, 6.5, 9.5, 1), ("temperature", "degC", 25, 24, 26, 22, 28, 1))
    ])  # fmt: skip
    names = ("instrument", "system", "kind", "parameter", "tolerance", "unit", "tests_per_day", "reagent", "ml_per_test", "bottle_ml", "dosing_channel", "dose_low", "dose_high")  # fmt: skip
    write(folder, "instruments.csv", [
        dict(zip(names, ("S001-AT", "S001", "alk_titrator", "alkalinity", 0.3, "dKH", 6, "S001-AT-ALK", 7, 2000, "S001-ALK", 7.5, 8.5), strict=True)),
        dict(zip(names, ("S001-CD", "S001", "conductivity_probe", "conductivity", 1, "mS/cm", 12, "", "", "", "", "", ""), strict=True)),
    ])  # fmt: skip
    names = (
        "channel",
        "system",
        "kind",
        "parameter",
        "added_per_ml",
        "unit",
        "container_ml",
        "start_rate_ml_day",
        "driver",
    )
    write(folder, "channels.csv", [
        dict(zip(names, ("S001-ALK", "S001", "dosing", "alkalinity", 3, "dKH*L/mL", 5000, 240, "S001-AT"), strict=True)),
        dict(zip(names, ("S001-CA", "S001", "dosing", "calcium", 20, "mg/mL", 2000, 100, ""), strict=True)),
        dict(zip(names, ("S001-TOPUP", "S001", "top-up", "water", 0.001, "L/mL", 90000, 900, ""), strict=True)),
    ])  # fmt: skip
    readings = []
    for hour in range(DAYS * 24):
        at = BEGUN + timedelta(hours=hour)
        if hour % 4 == 0:
            readings += titrator(rng, at, BEGUN + timedelta(days=18))
        if hour % 2 == 0:
            readings += probe(rng, at, BEGUN + timedelta(days=17))
        if hour % 168 == 10:
            readings += [
                reading(
                    at,
                    "T1",
                    "photometer",
                    "alkalinity",
                    f"{8 + rng.gauss(0, 0.1):.1f}",
                    "dKH",
                    late=2,
                    replicate=n,
                )
                for n in (1, 2, 3)
            ]
            readings += [reading(at, "T1", "thermometer", "temperature", "25.1", "degC", late=2)]
    events = [
        event(BEGUN, "S001-AT-ALK", "reagent_loaded", 1900, parameter="alkalinity", unit="mL", level=1900),
        event(BEGUN, "S001-ALK", "refill", 0, unit="mL", level=5000),
        event(BEGUN, "S001-CA", "refill", 0, unit="mL", level=2000),
        event(BEGUN + timedelta(days=3), "S001", "manual_dose", 200, parameter="alkalinity", unit="dKH*L"),
        event(BEGUN + timedelta(days=3), "S001", "manual_dose", 10, parameter="magnesium", unit="mL"),
        event(BEGUN + timedelta(days=4), "S001", "water_change", 40, unit="L"),
        event(BEGUN + timedelta(days=7, hours=11), "S001-AT", "calibration"),
        event(
            BEGUN + timedelta(days=8), "S001-CA", "dose_rate_change", 101, parameter="calcium", unit="mL/day"
        ),
        event(BEGUN + timedelta(days=9), "S001", "visit", 7, unit="days to next"),
    ]
    write(folder, "events.csv", events)
    write(folder, "readings.csv", readings)
    return folder


def cut(fleet, to, until):
    """What was known until then."""
    to.mkdir()
    for path in fleet.iterdir():
        with path.open(newline="") as lines:
            rows = list(csv.DictReader(lines))
        known = [row for row in rows if "time_posted" not in row or row["time_posted"] <= iso(until)]
        write(to, path.name, known)
    return to


@pytest.mark.django_db
@pytest.mark.slow  # three weeks of a tank
def test_what_goes_wrong_is_named_once_and_the_files_are_whole(fleet, tmp_path):
    said = play(fleet, EVERY)
    said.save(tmp_path / "result")

    named = {(subject, kind) for _at, _system, subject, kind, _words in said.lines["alarms"]}
    assert named == {
        ("S001-AT", "instrument_silent"),
        ("S001-CD", "instrument_stuck"),
        ("S001-CA", "container_empty"),
    }
    assert len(said.lines["alarms"]) == 3
    for name, heads in HEADS.items():
        with (tmp_path / "result" / f"{name}.csv").open(newline="") as lines:
            rows = list(csv.reader(lines))
        assert tuple(rows[0]) == heads and len(rows) == len(said.lines[name]) + 1
    subjects = {subject for _at, subject, *_rest in said.lines["depletion_forecasts"]}
    assert subjects == {"S001-ALK", "S001-CA", "S001-AT-ALK"}
    assert {row[2] for row in said.lines["forecasts"]} == {"alkalinity", "salinity"}
    biases = {row[1] for row in said.lines["calibration"]}
    assert biases == {"S001-AT"}


def played(folder):
    """What is said of a fleet; its tanks are gone afterwards."""
    with transaction.atomic():
        said = play(folder, EVERY)
        transaction.set_rollback(True)
    return said.lines


@pytest.mark.slow  # a process of its own
def test_the_command_plays_in_a_database_of_its_own(fleet, tmp_path):
    surroundings = {
        **os.environ,
        "TANKROUND_VAR": str(tmp_path / "var"),
        "DJANGO_SETTINGS_MODULE": "servicedesk.settings.test",
    }
    surroundings.pop("DATABASE_URL", None)
    command = [sys.executable, "-m", "django", "replay", str(fleet), str(tmp_path / "result")]

    ended = subprocess.run(
        command, cwd=settings.ROOT, env=surroundings, capture_output=True, text=True, check=False
    )

    assert ended.returncode == 0, ended.stderr
    assert "3 alarms" in ended.stdout
    assert (tmp_path / "result" / "alarms.csv").read_text().count("\n") == 4


@pytest.mark.django_db
@pytest.mark.slow  # the same, twice in part
def test_nothing_is_known_before_it_was_posted(fleet, tmp_path):
    until = BEGUN + timedelta(days=19)
    whole, part = played(fleet), played(cut(fleet, tmp_path / "cut", until))

    before = {
        name: [line for line in lines if line[0] <= iso(until - EVERY)] for name, lines in whole.items()
    }
    for name, lines in before.items():
        known = [line for line in part[name] if line[0] <= iso(until - EVERY)]
        assert known == lines, name


def test_what_is_no_fleet_is_refused_in_words(tmp_path):
    with pytest.raises(CommandError, match=r"holds no fleet: systems\.csv"):
        call_command("replay", str(tmp_path), str(tmp_path / "r"))


def test_hours_that_do_not_part_a_day_are_refused(fleet, tmp_path):
    with pytest.raises(CommandError, match="1, 2, 3, 4 or 6"):
        call_command("replay", str(fleet), str(tmp_path / "r"), every=5)
