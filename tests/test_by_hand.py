"""Day sheets worked out again by hand: from exported CSV, with nothing but the arithmetic that stands here.

What the day sheet is made with (``analytics``, ``watch``) is not used for any expected figure. The simulated
demonstration farm runs for two and a half days with things going wrong, so that no figure is trivially whole.
"""

from __future__ import annotations

import csv
import io
import itertools
import math
import re
import tomllib
from bisect import bisect_right
from contextlib import redirect_stdout
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from api.app import House as ServedHouse
from farm.flags import Flag
from farm.readings import Reading, Series, instant, microseconds
from simulator.demo import demo_farm, demo_farm_text
from simulator.faults import Fault, FaultKind
from simulator.simulation import Simulation
from tests.api.conftest import Client
from tests.serving import Served
from tests.watch.conftest import House
from watch.judged import JudgedReadings

DAYS = [date(2026, 3, 2), date(2026, 3, 3)]  # in Oslo, an hour ahead of UTC then
START, END = datetime(2026, 3, 1, 21, tzinfo=UTC), datetime(2026, 3, 4, 5, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
HOLD = 3 * MINUTE  # three readings at their usual distance: so long one speaks for the time after it
PLAN = tomllib.loads(demo_farm_text())
PHASES = PLAN["crops"]["lettuce"]["phases"]
DESCRIBED = {"/".join(filter(None, (one["zone"], one["quantity"], one.get("sensor")))) for one in PLAN["series"]}
COUNTERS = ("electrical_energy", "condensate_volume", "dosed_volume", "metered_volume")

# The same readings and the same rule, in another order of adding up: nothing but rounding may differ.
EXACT = 1e-9
# FAO-56's formula of saturation pressure (its equation 11, in its Annex 2, table 2.3: 2.338 kPa at 20 degC, 3.168 at
# 25, 4.243 at 30) against ASHRAE's table of the same (2.3392, 3.1698, 4.2467): less than 0.1 % apart over 0 to 30 degC.
TETENS = 0.001
# 0.1 % of vapour pressure at 10 to 25 degC is 0.001 / 0.06 per K = 0.016 K of dew point; there and back, twice that.
TETENS_DEW_K = 0.033

SILENT = ("row-2/relative_humidity", "row-2/ppfd", "row-2/air_temperature")  # not all at the same time
SILENCES = {
    SILENT[0]: (datetime(2026, 3, 3, 9, 10, tzinfo=UTC), 47),
    SILENT[1]: (datetime(2026, 3, 3, 15, 5, tzinfo=UTC), 62),
    SILENT[2]: (datetime(2026, 3, 2, 22, 40, tzinfo=UTC), 38),  # over midnight
    "room/co2_mole_fraction": (datetime(2026, 3, 2, 11, 0, tzinfo=UTC), 95),
    "room/compressor_on": (datetime(2026, 3, 2, 18, 0, tzinfo=UTC), 21),
}
NEW_METER = datetime(2026, 3, 3, 10, 30, tzinfo=UTC)  # the drain's meter begins at 0 again
FAULTS = [
    Fault(FaultKind.LAMP_GROUP_LOST, datetime(2026, 3, 3, 7, tzinfo=UTC), datetime(2026, 3, 3, 10, tzinfo=UTC), 1.0,
          "row-3"),
    Fault(FaultKind.DRYING_LOST, datetime(2026, 3, 3, 12, tzinfo=UTC), datetime(2026, 3, 3, 17, tzinfo=UTC), 0.95),
]  # fmt: skip


def simulated(farm):
    """Return the demonstration's readings, with some that never came and a meter that was changed."""
    run = Simulation(farm, seed=11, start=START, faults=FAULTS)
    readings, taken_off = [], None
    while run.now < END:
        at_us, values, _ = run.step()
        at = instant(at_us)
        for key, value in values:
            if key in SILENCES and timedelta() <= at - SILENCES[key][0] < SILENCES[key][1] * MINUTE:
                continue
            if key == "room/condensate_volume" and at >= NEW_METER:
                taken_off = value if taken_off is None else taken_off
                value = round(value - taken_off, 2)
            readings.append(Reading(Series.parse(farm.name, key), microseconds(at), value, Flag.NOT_EVALUATED))
    return readings


@pytest.fixture(scope="module")
def served_house(tmp_path_factory):
    farm = demo_farm()
    house = House(farm, tmp_path_factory.mktemp("by-hand") / "house")
    house.store.append(simulated(farm))
    house.now_us = microseconds(END) + 60_000_000
    house.fresh_watch()
    house.work()
    judged = JudgedReadings(farm.name, house.store, house.journal)
    yield ServedHouse(farm, "its hash", judged, house.journal, lambda: {"status": "ok"}, lambda: house.now_us)
    house.close()


@pytest.fixture(scope="module")
def ask(served_house):
    return Client(served_house)


class Export:
    """Series as somebody gets them who exports them: as text, all of it, as it arrived."""

    def __init__(self, ask):
        self.ask, self.kept = ask, {}

    def __call__(self, key):
        if key not in self.kept:
            answer = self.ask(f"/api/v1/series/{key}/readings?start=2026-03-01T00:00:00Z&format=csv&raw=true")
            assert answer.status_code == 200, answer.text
            rows = list(csv.reader(io.StringIO(answer.text)))[1:]
            self.kept[key] = [(datetime.fromisoformat(time), float(value)) for time, value, _ in rows]
        return self.kept[key]


@pytest.fixture(scope="module")
def export(ask):
    return Export(ask)


@pytest.fixture(params=DAYS, ids=str)
def sheet(ask, request):
    return ask.json(f"days/{request.param}")


def edges(sheet):
    return datetime.fromisoformat(sheet["start"]), datetime.fromisoformat(sheet["end"])


def within(rows, start, end):
    return [(at, value) for at, value in rows if start <= at < end]


def held(rows, start, end):
    """Return (time, value, seconds) of the readings that speak for some of a stretch: to the next one, or 3 min."""
    found = []
    for (at, value), (following, _) in zip(rows, [*rows[1:], (rows[-1][0] + HOLD, 0.0)], strict=True):
        seconds = (min(following, at + HOLD, end) - max(at, start)).total_seconds()
        if seconds > 0:
            found.append((at, value, seconds))
    return found


def as_of(rows, at):
    """Return the newest reading at an instant, at most 3 min old, else None."""
    place = bisect_right(rows, (at, math.inf)) - 1
    return rows[place][1] if place >= 0 and at - rows[place][0] <= HOLD else None


def pressure(temperature):
    """Return the pressure of saturated water vapour by FAO-56, equation 11. [kPa]."""
    return 0.6108 * math.exp(17.27 * temperature / (temperature + 237.3))


def dew_point(vapour_kpa):
    """Return what solves that equation for temperature. [degC]."""
    log = math.log(vapour_kpa / 0.6108)
    return 237.3 * log / (17.27 - log)


def air_of(export, zone):
    """Return (time, temperature, humidity) wherever one of both was read and the other is at most 3 min old."""
    air, humidity = export(f"{zone}/air_temperature"), export(f"{zone}/relative_humidity")
    pairs = ((at, as_of(air, at), as_of(humidity, at)) for at in sorted({at for at, _ in (*air, *humidity)}))
    return [(at, t, rh) for at, t, rh in pairs if t is not None and rh is not None]


def rows_of(sheet, of=lambda key: True):
    return [row for zone in sheet["zones"] for row in zone["series"] if of(row["key"])]


def counted(rows, start, end):
    """Return what a counter counted, from its last reading before the day; after a fall, what it shows."""
    before = [value for at, value in rows if at < start][-1:]
    values = before + [value for _, value in within(rows, start, end)]
    return sum(b - a if b >= a else b for a, b in itertools.pairwise(values))


def limits(export, key, at):
    """Return the plan's (low, high) for a series at an instant; None where it has none."""
    zone, quantity = key.split("/")[:2]
    described = PLAN["zones"][zone]
    band = PHASES[described["phase"]]["bands"].get(quantity) if "phase" in described else None
    if band is None or "always" in band:
        return band and band["always"]
    return band.get("lit" if as_of(export(described["lights"]), at) >= 0.5 else "dark")


def test_the_days_are_whole(sheet):
    start, end = edges(sheet)
    assert (end - start, sheet["complete"]) == (timedelta(days=1), True)
    assert len(rows_of(sheet, DESCRIBED.__contains__)) > 30


def test_mean_low_high_and_coverage_of_every_sensor(sheet, export):
    start, end = edges(sheet)
    for row in rows_of(sheet, DESCRIBED.__contains__):
        values = [value for _, value in within(export(row["key"]), start, end)]
        seconds = sum(s for _, _, s in held(export(row["key"]), start, end))
        assert row["count"] == len(values), row["key"]
        assert (row["low"], row["high"]) == (min(values), max(values)), row["key"]
        assert row["mean"] == pytest.approx(sum(values) / len(values), rel=EXACT), row["key"]
        assert row["coverage"] == pytest.approx(seconds / 86_400, abs=EXACT), row["key"]


def test_time_in_band_lit_and_dark(sheet, export):
    start, end = edges(sheet)
    rows = [row for row in rows_of(sheet, DESCRIBED.__contains__) if row["band"]]
    outside = 0.0
    for row in rows:
        hours = {"below_h": 0.0, "inside_h": 0.0, "above_h": 0.0}
        for at, value, seconds in held(export(row["key"]), start, end):
            if (found := limits(export, row["key"], at)) is not None:
                low, high = found
                where = "below_h" if value < low else "above_h" if value > high else "inside_h"
                hours[where] += seconds / 3600
        assert row["band"] == pytest.approx(hours | {"covered_h": sum(hours.values())}, abs=EXACT), row["key"]
        outside += hours["below_h"] + hours["above_h"]
    assert len(rows) >= 18
    assert outside > 0.0


def test_counters(sheet, export):
    start, end = edges(sheet)
    totals = {row["key"]: row["total"] for row in sheet["totals"]}
    assert set(totals) == {key for key in DESCRIBED if key.split("/")[1] in COUNTERS}
    for key, total in totals.items():
        assert total == pytest.approx(counted(export(key), start, end), rel=EXACT), key
    assert min(totals["room/electrical_energy"], totals["reservoir/dosed_volume/nutrient-a"]) > 50


def test_energy_and_condensate(sheet, export):
    start, end = edges(sheet)
    kwh = counted(export("room/electrical_energy"), start, end)
    assert sheet["energy"]["kwh"] == pytest.approx(kwh, rel=EXACT)
    assert sheet["energy"]["cost"] == pytest.approx(kwh * PLAN["equipment"]["mains"]["price_per_kwh"], rel=EXACT)
    for group, row in zip(PLAN["equipment"]["lamp_groups"], sheet["energy"]["lamps"], strict=True):
        [zone] = group["zones"]
        level = export(f"{zone}/ppfd")
        lit = [(at, s) for at, on, s in held(export(f"{zone}/lights_on"), start, end) if on >= 0.5]
        shining = sum(s for at, s in lit if as_of(level, at) is None or as_of(level, at) >= 5)
        assert row["lit_h"] == pytest.approx(sum(s for _, s in lit) / 3600, rel=EXACT)
        assert row["estimated_kwh"] == pytest.approx(shining / 3600 * group["power_w"] / 1000, rel=EXACT)
    [unit] = sheet["climate"]["air_conditioners"]
    litres = counted(export("room/condensate_volume"), start, end)
    assert unit["water"]["by_condensate"]["kg"] == pytest.approx(litres, rel=EXACT)  # the sheet takes 1 kg a litre


def test_stocks(sheet, export):
    [reservoir] = [row for row in sheet["root_zone"] if row["zone"] == "reservoir"]
    assert len(reservoir["stocks"]) == len(PLAN["equipment"]["stocks"])
    for row in reservoir["stocks"]:
        used = counted(export(f"reservoir/dosed_volume/{row['stock']}"), *edges(sheet))
        assert row["used_ml"] == pytest.approx(used, rel=EXACT), row["stock"]


def test_irrigation(sheet, export):
    start, end = edges(sheet)
    [line] = sheet["irrigation"]
    litres = sum(flow * seconds / 60 for _, flow, seconds in held(export("reservoir/flow_rate"), start, end))
    assert line["litres_l"] == pytest.approx(litres, rel=EXACT)
    assert line["per_plant_site_l"] == pytest.approx(litres / 480, rel=EXACT)  # four rows of 120
    # The sheet finds cycles from the flow; the pump's own switch is read in the same minute.
    pump = export("reservoir/pump_on")
    starts = [at for (_, a), (at, b) in itertools.pairwise(pump) if a < 0.5 <= b and start <= at < end]
    assert line["cycles"] == len(starts)
    running = sum(seconds for _, on, seconds in held(pump, start, end) if on >= 0.5)
    assert line["running_min"] == pytest.approx(running / 60, abs=EXACT)


def test_light_integral_and_lit_hours(sheet, export):
    _, end = edges(sheet)
    assert [row["zone"] for row in sheet["light_days"]] == ["row-1", "row-2", "row-3", "row-4", "shelf"]
    for row in sheet["light_days"]:
        lights = export(f"{row['zone']}/lights_on")
        ons = [at for (_, a), (at, b) in itertools.pairwise(lights) if a < 0.5 <= b]
        begin = max(at for at in ons if at < end)
        [until] = [at for at in ons if begin < at <= begin + timedelta(days=1)]
        assert (row["start"], row["end"]) == tuple(at.strftime("%Y-%m-%dT%H:%M:%SZ") for at in (begin, until))
        ppfd = [(at, value) for at, value in export(f"{row['zone']}/ppfd") if begin <= at <= until]
        steps = [
            ((b - a).total_seconds(), (first + second) / 2)
            for (a, first), (b, second) in itertools.pairwise(ppfd)
            if b - a <= HOLD
        ]
        mol = sum(seconds * mean for seconds, mean in steps) / 1e6
        assert row["mol"] == pytest.approx(mol, rel=EXACT), row["zone"]
        covered = sum(seconds for seconds, _ in steps)
        assert row["coverage"] == pytest.approx(covered / (until - begin).total_seconds(), abs=EXACT)
        lit = sum(seconds for _, on, seconds in held(lights, begin, until) if on >= 0.5)
        assert row["lit_h"] == pytest.approx(lit / 3600, abs=EXACT), row["zone"]


def test_evenness_of_light_among_rows(sheet):
    """Of the integrals that the test above reckons, where they cover 90 % of their day (our choice)."""
    mol = {row["zone"]: row["mol"] for row in sheet["light_days"] if row["coverage"] >= 0.9}
    assert sheet["light_evenness"]
    for one in sheet["light_evenness"]:
        found = [mol[zone] for zone in one["zones"] if zone in mol]
        mean = sum(found) / len(found)
        deviation = math.sqrt(sum((value - mean) ** 2 for value in found) / (len(found) - 1))
        assert one["zones_known"] == len(found) >= 3
        assert one["mean_mol"] == pytest.approx(mean, rel=EXACT)
        assert one["min_over_mean"] == pytest.approx(min(found) / mean, rel=EXACT)
        assert one["coefficient_of_variation"] == pytest.approx(deviation / mean, rel=EXACT)
        assert mol[one["lowest_zone"]] == min(found)


def test_readings_that_came_and_silences(sheet, export):
    start, end = edges(sheet)
    for row in sheet["quality"]["series"]:
        times = [at for at, _ in within(export(row["key"]), start, end)]
        assert (row["count"], row["expected_count"]) == (len(times), 1440), row["key"]
        assert row["missing_count"] == 1440 - len(times), row["key"]
        stops = [start - MINUTE, *times, end]  # a silence counts from the reading before it, more than 3 min
        if row["key"] in SILENCES:
            silent_from, minutes = SILENCES[row["key"]]
            within_day = min(silent_from + minutes * MINUTE, end) - max(silent_from, start)
            assert row["gap_count"] == (within_day > HOLD), row["key"]
        else:
            assert max(b - a for a, b in itertools.pairwise(stops)) == MINUTE, row["key"]
            assert row["gap_count"] == 0, row["key"]


def test_the_water_balance_closes(sheet, export):
    """In, by the meters, less out and less what the reservoir gained is what the plants drank."""
    start, end = edges(sheet)
    [balance] = sheet["water_balance"]
    reservoir = PLAN["equipment"]["reservoir"]
    meters = {"feed water": PLAN["equipment"]["reverse_osmosis"]["output"]}
    meters |= {f"drained, {key}": key for key in reservoir.get("drained", [])}
    meters |= {f"top-up, {key}": key for key in reservoir.get("top_up", [])}
    terms = {(one["side"], one["name"]): one["litres_l"] for one in balance["terms"]}
    for (_, name), litres in terms.items():
        if name in meters:
            assert litres == pytest.approx(counted(export(meters[name]), start, end), rel=EXACT, abs=EXACT), name
    assert terms["in", "feed water"] > 10
    doses = sum(counted(export(key), start, end) for key in DESCRIBED if key.startswith("reservoir/dosed_volume"))
    assert terms["in", "doses"] == pytest.approx(doses / 1000, rel=EXACT)
    sides = {
        side: sum(value for (where, _), value in terms.items() if where == side) for side in ("in", "out", "gained")
    }
    assert balance["drunk"]["litres_l"] == pytest.approx(sides["in"] - sides["out"] - sides["gained"], rel=EXACT)
    # The balance shares a step over midnight by time, a total counts it whole where it ends: a minute of drip apart.
    drip = max(b - a for (_, a), (_, b) in itertools.pairwise(export("room/condensate_volume")))
    condensate = counted(export("room/condensate_volume"), start, end)
    assert balance["condensate"]["litres_l"] == pytest.approx(condensate, abs=drip)


def test_deficits_by_tetens(sheet, export):
    start, end = edges(sheet)
    rows = {row["key"]: row for row in rows_of(sheet)}
    # Not outdoors: it freezes there, and the table begins at 1 degC.
    for zone in ("room", "row-1", "row-2", "row-3", "row-4", "shelf"):
        row, air = rows[f"{zone}/vapour_pressure_deficit"], air_of(export, zone)
        deficit = [(at, pressure(t) * (1 - rh / 100)) for at, t, rh in air]
        today = [value for _, value in within(deficit, start, end)]
        assert row["count"] == len(today), zone
        assert row["mean"] == pytest.approx(sum(today) / len(today), rel=TETENS), zone
        assert (row["low"], row["high"]) == pytest.approx((min(today), max(today)), rel=TETENS), zone
        if (offset := PLAN["zones"][zone].get("leaf_offset_k")) is not None:
            of_leaf = [pressure(t + offset) - pressure(t) * rh / 100 for at, t, rh in air if start <= at < end]
            most = TETENS * max(pressure(t) for _, t, _ in air)  # a difference of two pressures, each 0.1 %
            mean = rows[f"{zone}/leaf_vapour_pressure_deficit"]["mean"]
            assert mean == pytest.approx(sum(of_leaf) / len(of_leaf), abs=most), zone
        if row["band"] is None:
            continue
        inside = unsure = 0.0  # hours: what lies within 0.1 % of a limit may be on either side of it
        for at, value, seconds in held(deficit, start, end):
            low, high = limits(export, row["key"], at)
            inside += seconds / 3600 * (low <= value <= high)
            unsure += seconds / 3600 * any(abs(value / limit - 1) <= TETENS for limit in (low, high))
        assert unsure < 0.2
        assert row["band"]["inside_h"] == pytest.approx(inside, abs=unsure + EXACT), zone


def test_compressor(sheet, export):
    start, end = edges(sheet)
    cycling = sheet["climate"]["air_conditioners"][0]["cycling"]
    switch = export("room/compressor_on")
    starts = [
        at
        for (before, a), (at, b) in itertools.pairwise(switch)
        if a < 0.5 <= b and at - before <= HOLD and start <= at < end
    ]
    seconds = [(on >= 0.5, s) for _, on, s in held(switch, start, end)]
    covered, running = sum(s for _, s in seconds), sum(s for on, s in seconds if on)
    assert cycling["starts"] == len(starts) > 50
    assert cycling["starts_per_hour"] == pytest.approx(len(starts) / (covered / 3600), rel=EXACT)
    assert cycling["duty"] == pytest.approx(running / covered, rel=EXACT)
    assert cycling["on_h"] == pytest.approx(running / 3600, rel=EXACT)
    assert cycling["coverage"] == pytest.approx(covered / 86_400, rel=EXACT)


def highest_average(rows, start, end, window):
    """Return the highest average over a window that ends at a reading of the day and is known for half or more."""
    best = None
    for at, _ in within(rows, start, end):
        first = max(bisect_right(rows, (at - window - HOLD, -math.inf)), 0)
        parts = held(rows[first : bisect_right(rows, (at, math.inf))], at - window, at)
        seconds = sum(s for _, _, s in parts)
        if 2 * seconds >= window.total_seconds():
            average = sum(value * s for _, value, s in parts) / seconds
            best = average if best is None else max(best, average)
    return best


def test_carbon_dioxide(sheet, export):
    start, end = edges(sheet)
    [row] = sheet["carbon_dioxide"]
    co2 = export("room/co2_mole_fraction")
    # The sheet adds up whole 1/128 ppm (8 h) or finer: half of one, for every reading of a window at most.
    for name, minutes in (("average_15min", 15), ("average_8h", 480)):
        assert row[name]["ppm"] == pytest.approx(highest_average(co2, start, end, minutes * MINUTE), abs=1 / 256), name
    open_h = sum(s for _, on, s in held(export("room/co2_valve_open"), start, end) if on >= 0.5) / 3600
    assert row["enrichment"]["valve_open_h"] == pytest.approx(open_h, rel=EXACT)
    assert row["enrichment"]["dosed_g"] == pytest.approx(475 * open_h, rel=EXACT)  # the valve's described flow


def test_lowest_margin_of_the_north_wall(sheet, export):
    start, end = edges(sheet)
    [wall] = [row for row in sheet["surfaces"] if row["surface"] == "north-wall"]
    inner, outer = 0.13, 0.04  # m2 K/W, ISO 6946, table 7: heat flows level
    share = inner / (inner + PLAN["surfaces"][0]["r_value_m2k_w"] + outer)
    outdoors, margin = export("outdoors/air_temperature"), {}
    for at, air, humidity in air_of(export, "room"):
        if start <= at < end and (cold := as_of(outdoors, at)) is not None:
            face = air - share * (air - cold)
            margin[at] = face - dew_point(pressure(air) * humidity / 100)
    assert wall["lowest_margin_k"] == pytest.approx(min(margin.values()), abs=TETENS_DEW_K)
    there = margin[datetime.fromisoformat(wall["lowest_margin_at"])]
    assert there == pytest.approx(min(margin.values()), abs=2 * TETENS_DEW_K)


def test_the_documented_check_runs_against_a_server(served_house):
    """What docs/science.md tells people to paste, with nothing changed but the address."""
    page = (Path(__file__).parents[1] / "docs" / "science.md").read_text("utf-8")
    [code] = re.findall(r"## Check a day sheet by hand.*?```python\n(.*?)```", page, re.DOTALL)
    served = Served(served_house)
    try:
        told, names = io.StringIO(), {}
        with redirect_stdout(told):
            exec(code.replace("http://127.0.0.1:8800/", served.url), names)
    finally:
        served.stop()
    assert names["day"] == "2026-03-03"
    table = names["table"]
    assert len(table) >= 8
    assert str(table.index[0]) in told.getvalue()
    for what, (by_hand, day_sheet) in table.iterrows():
        assert day_sheet == pytest.approx(by_hand, rel=TETENS if "VPD" in what else EXACT), what
