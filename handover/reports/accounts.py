"""Accounts of water, nutrients, energy and CO2: what came in, what went, how well it is known, and how."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from handover.reports.document import Item, Paragraph, Table, Tone
from handover.reports.telling import DASH, Telling, capital, shown_unit

Row = dict[str, Any]
HEADS = ("What", "Amount", "±", "Covered", "How it is known")
WIDTHS = (0.36, 0.15, 0.11, 0.1, 0.28)
SIDES = {"in": "came in", "out": "went out", "gained": "gained"}
COUNTED, ESTIMATE = "by a counter", "estimate"
LEAST_DARK_H = 0.05  # that is told of; our choice, no source


def accounts(tell: Telling, sheet: Row, days: int) -> list[Item]:
    """Return the accounts of a sheet of so many days; none where the farm measures nothing of the kind."""
    groups = [
        ("Water of the reservoir", list(_water(tell, sheet, days))),
        ("Nutrients, acid and base", list(_nutrients(tell, sheet))),
        ("Water of the air", list(_air_water(tell, sheet))),
        ("Energy", list(_energy(tell, sheet, days))),
        ("CO2", list(_gas(tell, sheet, days))),
        ("Other counters", list(_totals(tell, sheet, days))),
    ]
    told = [(name, lines) for name, lines in groups if lines]
    if not told:
        return [Paragraph("This farm has no meters of water, energy or gas that tell of this time.", Tone.NOTE)]
    table = Table("Accounts", HEADS, told, frozenset({1, 2, 3}), WIDTHS)
    return [table, *(Paragraph(text, Tone.NOTE) for text in _notes(tell, sheet, days))]


def _line(what: str, amount: str, take: str = DASH, covered: str = DASH, how: str = "") -> tuple[str, ...]:
    return what, amount, take, covered, how


def _of_days(row: Row, days: int) -> str:
    told = row.get("days_told")
    return "" if not isinstance(told, int) or told >= days else f", {told} of {days} days"


def _water(tell: Telling, sheet: Row, days: int) -> Iterator[tuple[str, ...]]:
    for balance in sheet.get("water_balance") or ():
        for term in balance["terms"]:
            how = "two levels of the reservoir" if term["side"] == "gained" else COUNTED
            yield _litres(tell, f"{capital(term['name'])}, {SIDES[term['side']]}", term, how, days)
        yield _litres(tell, "Drunk by plants, by the meters", balance["drunk"], "what is left over", days)
        yield _litres(
            tell, "Drunk and not in the condensate", balance["drunk_less_condensate"], "difference of the two", days
        )
    for root in sheet.get("root_zone") or ():
        if water := root["water"]:
            take = tell.take(water.get("drunk_give_or_take_l"), 1)
            covered = tell.amount(water.get("covered_h"), 1, "h")
            yield _line(
                "Drunk by plants, by the level",
                tell.amount(water["drunk_l"], 1, "L"),
                take,
                covered,
                "fall of the level at rest",
            )
    for line in sheet.get("irrigation") or ():
        sites = line.get("per_plant_site_l")
        text = "" if sites is None else f"; {tell.amount(sites, 2, 'L')} a plant site"
        yield _line(
            f"Irrigated, {line['label']}",
            tell.amount(line["litres_l"], 0, "L"),
            tell.take(line.get("litres_give_or_take_l"), 0),
            tell.share(line.get("litres_coverage")),
            f"{tell.number(line['cycles'], 0)} cycles{text}",
        )


def _litres(tell: Telling, what: str, row: Row, how: str, days: int) -> tuple[str, ...]:
    covered = DASH if row.get("coverage") is None else tell.share(row["coverage"])
    how = how if row["litres_l"] is not None else ""
    return _line(
        what,
        tell.amount(row["litres_l"], 1, "L"),
        tell.take(row["give_or_take_l"], 1),
        covered,
        how + _of_days(row, days),
    )


def _nutrients(tell: Telling, sheet: Row) -> Iterator[tuple[str, ...]]:
    unit = "mS/cm L"
    for root in sheet.get("root_zone") or ():
        for stock in root["stocks"]:
            left = stock.get("remaining_ml")
            bottle = "" if left is None else f"; {tell.amount(left / 1000, 1, 'L')} left in the bottle"
            yield _line(f"{stock['label']} dosed", tell.amount(stock["used_ml"], 0, "mL"), how=COUNTED + bottle)
        if salt := root["salt"]:
            for name, what in (
                ("stock", "Salt from the stocks"),
                ("feed", "Salt from the feed water"),
                ("taken", "Salt taken up"),
            ):
                take = tell.take(salt.get(f"{name}_give_or_take_ms_cm_l"), 1)
                how = "EC times volume, less doses and top-ups" if name == "taken" else "volume times strength"
                yield _line(
                    what,
                    tell.amount(salt.get(f"{name}_ms_cm_l"), 1, unit),
                    take,
                    tell.amount(salt.get("covered_h"), 1, "h"),
                    how,
                )
        if uptake := root.get("uptake"):
            take = tell.take(uptake.get("concentration_give_or_take_ms_cm"), 2)
            yield _line(
                "EC of what plants drank",
                tell.amount(uptake["concentration_ms_cm"], 2, "mS/cm"),
                take,
                how="salt taken up by water drunk",
            )
        for drift in root["drift"]:
            decimals, _ = tell.shape(drift["key"], drift["unit"])
            unit_a_day = shown_unit(drift["unit"].removesuffix("/d")) + " a day"
            yield _line(
                f"Drift, {tell.series(drift['key'])}",
                tell.amount(drift["per_day"], decimals, unit_a_day.strip()),
                tell.take(drift["give_or_take"], decimals),
                tell.amount(drift["covered_h"], 1, "h"),
                "between doses and top-ups",
            )


def _air_water(tell: Telling, sheet: Row) -> Iterator[tuple[str, ...]]:
    climate = sheet.get("climate") or {}
    for unit in climate.get("air_conditioners") or ():
        water = unit["water"]
        for name, how in (("by_condensate", "meter of the drain"), ("by_air", "air before and behind the coil")):
            if row := water.get(name):
                yield _weighed(tell, "Taken out by the air conditioner", row, how)
    balance = climate.get("vapour_balance")
    if balance:
        if balance.get("vented"):
            yield _weighed(tell, "Leaked away with the air", balance["vented"], "air changes and moisture")
        if balance.get("given_off"):
            yield _weighed(tell, "Given off by plants and wet surfaces", balance["given_off"], "sum of these")


def _weighed(tell: Telling, what: str, row: Row, how: str) -> tuple[str, ...]:
    return _line(
        what, tell.amount(row["kg"], 1, "kg"), tell.take(row["give_or_take"], 1), tell.share(row["coverage"]), how
    )


def _energy(tell: Telling, sheet: Row, days: int) -> Iterator[tuple[str, ...]]:
    energy = sheet.get("energy") or {}
    if energy.get("meter"):
        cost = "" if energy.get("cost") is None else f"; {tell.amount(energy['cost'], 2, energy.get('currency') or '')}"
        how = f"meter{cost}{_of_days(energy, days)}"
        yield _line("Whole farm", tell.amount(energy["kwh"], 1, "kWh"), covered=tell.share(energy["coverage"]), how=how)
    for part in energy.get("parts") or ():
        yield _line(
            f"Of it: {part['label']}",
            tell.amount(part["kwh"], 1, "kWh"),
            covered=tell.share(part["coverage"]),
            how="meter",
        )
    for lamp in energy.get("lamps") or ():
        dark = (
            f", {tell.amount(lamp['dark_h'], 1, 'h')} of it dark" if (lamp.get("dark_h") or 0.0) > LEAST_DARK_H else ""
        )
        how = f"{ESTIMATE}: {tell.amount(lamp['lit_h'], 1, 'h')} switched on{dark}, nameplate"
        yield _line(
            f"Lamps {tell.farm.zone_label(lamp['name'])}",
            tell.amount(lamp["estimated_kwh"], 1, "kWh"),
            covered=tell.share(lamp["coverage"]),
            how=how,
        )
    for unit in (sheet.get("climate") or {}).get("air_conditioners") or ():
        if electricity := unit["electricity"]:
            used, source = electricity["used"], electricity["from"]
            how = source if source == "meter" else f"{ESTIMATE} from {source} and run time"
            yield _line(
                "Air conditioner",
                tell.amount(used["kwh"], 1, "kWh"),
                tell.take(used["give_or_take"], 1),
                tell.share(used["coverage"]),
                how,
            )
    for batch in energy.get("batches") or ():
        yield _line(
            f"Share of batch {batch['name']}",
            tell.amount(batch["kwh"], 1, "kWh"),
            how=f"{tell.share(batch['share'])}, by plants and time",
        )


def _gas(tell: Telling, sheet: Row, days: int) -> Iterator[tuple[str, ...]]:
    for row in sheet.get("carbon_dioxide") or ():
        gas = row["enrichment"]
        if not gas:
            continue
        told = gas.get("days_told") or {}
        dosed = f"{ESTIMATE}: valve open {tell.amount(gas['valve_open_h'], 1, 'h')}, nameplate flow"
        for name, what, how in (
            ("dosed", "Dosed", dosed),
            ("leaked", "Leaked", "air changes from nightly decay"),
            ("rest", "Rest: plants, doors and error", "what is left over"),
        ):
            covered = DASH if name == "rest" else tell.share(gas[f"{name}_coverage"])
            amount, take = gas[f"{name}_g"], gas[f"{name}_give_or_take_g"]
            how += _of_days({"days_told": told.get(f"{name}_g")}, days)
            yield _line(what, tell.amount(amount, 0, "g"), tell.take(take, 0), covered, how)
        yield _line("More in the room at the end", tell.amount(gas["stored_g"], 0, "g"), how="CO2 at both ends")


def _totals(tell: Telling, sheet: Row, days: int) -> Iterator[tuple[str, ...]]:
    told_above = ("electrical_energy", "dosed_volume", "condensate_volume")
    membrane = tell.farm.equipment.reverse_osmosis
    for row in sheet.get("totals") or ():
        if row["key"].split("/")[1] not in told_above and not (membrane and membrane.output == row["key"]):
            decimals, unit = tell.shape(row["key"], row["unit"])
            yield _line(
                tell.series(row["key"]), tell.amount(row["total"], decimals, unit), how=COUNTED + _of_days(row, days)
            )


def _notes(tell: Telling, sheet: Row, days: int) -> Iterator[str]:
    for balance in sheet.get("water_balance") or ():
        yield from (f"Water: not known: {text}." for text in balance["unknown"])
        yield from (f"Water: assumed: {text}." for text in balance["assumed"])
    for unit in (sheet.get("climate") or {}).get("air_conditioners") or ():
        compared = unit["water"].get("agreement")
        if compared and not compared["agree"]:
            by = tell.within(compared["difference_kg"], compared["give_or_take_kg"], 1, "kg")
            yield f"Water taken out by the drain's meter and by the air's states differ by {by}: look at the drain and those sensors."
    energy = sheet.get("energy") or {}
    if energy.get("batches"):
        yield f"Energy is shared between batches {energy['batch_convention']}."
    for row in sheet.get("carbon_dioxide") or ():
        if (gas := row["enrichment"]) and gas["not_watched"]:
            names = ", ".join(one.replace("_", " ") for one in gas["not_watched"])
            yield f"CO2: no series tells of {names}; what that lets out counts as a leak."
    if days > 1:
        yield "Give or take is added up as if it went the same way every day, an upper bound; of a level's change, only both ends' counts."
