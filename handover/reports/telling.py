"""Figures and times as people read them: in the farm's way of writing numbers, its time zone, with units."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal

from babel.dates import format_date, format_datetime, get_timezone
from babel.numbers import format_decimal, format_scientific

from farm.description import Farm
from farm.quantities import QUANTITIES, Quantity
from farm.readings import Series, instant
from handover.reports.document import Out

NBSP, MINUS, DASH = "\u00a0", "\u2212", "–"
NOT_KNOWN = "not known"
WELL_COVERED = 0.95  # below it the coverage is told beside the figure; our choice, no source
TOO_LONG = 1e15  # from which a number is written with its power of ten: somebody wrote it down by mistake
GROUPED_FROM = 10_000
WORDS = "en_GB"  # the words of a report, whatever way its numbers are written
SHORT_UNITS = {
    "degC": "°C",
    "umol mol-1": "ppm",
    "umol m-2 s-1": "µmol m⁻² s⁻¹",
    "mol m-2 d-1": "mol m⁻² d⁻¹",
    "g/m3": "g m⁻³",
    "degC h": "K h",
    "umol mol-1 h": "ppm h",
    "umol m-2 s-1 h": "µmol m⁻² s⁻¹ h",
    "pH h": "pH h",
    "1": "",
    "pH": "",
}


def shown_unit(unit: str) -> str:
    """Return a unit as people read it."""
    return SHORT_UNITS.get(unit, unit).replace(" ", NBSP)


class Telling:
    """How one farm's figures are told; ``None`` is what nobody knows."""

    def __init__(self, farm: Farm) -> None:
        self.farm = farm
        self.locale = farm.farm.locale.replace("-", "_")
        self._zone = get_timezone(farm.farm.timezone)

    def number(self, value: float | None, decimals: int = 1) -> str:
        """Return a number with fixed decimals and a true minus sign; a dash where there is none.

        One that is too long to read has a power of ten instead. Halves are rounded away from zero, as the page does.
        """
        if value is None:
            return DASH
        if abs(value) >= TOO_LONG:
            text = format_scientific(abs(value), format="0.##E0", locale=self.locale)
            return MINUS + text if value < 0 else text
        exact = abs(Decimal(value)).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
        pattern = ("#,##0" if exact >= GROUPED_FROM else "0") + ("." + "0" * decimals if decimals else "")
        text = format_decimal(exact, format=pattern, locale=self.locale)
        return MINUS + text if value < 0 and exact else text

    def amount(self, value: float | None, decimals: int, unit: str = "") -> str:
        """Return a value with its unit."""
        if value is None:
            return NOT_KNOWN
        return self.number(value, decimals) + (NBSP + unit if unit else "")

    def within(self, value: float | None, take: float | None, decimals: int, unit: str = "") -> str:
        """Return a value with its give or take."""
        if value is None or take is None:
            return self.amount(value, decimals, unit)
        return f"{self.amount(value, decimals, unit)} ± {self.take(take, decimals)}"

    def take(self, take: float | None, decimals: int) -> str:
        """Return a give or take; one that rounds to nothing says so."""
        if take is None:
            return DASH
        least = 10.0**-decimals
        return f"<{NBSP}{self.number(least, decimals)}" if 0 < take < least / 2 else self.number(take, decimals)

    def share(self, part: float | None) -> str:
        """Return a share of 1 in per cent; what is not quite all or nothing does not look so."""
        if part is None:
            return NOT_KNOWN
        if 0.995 <= part < 0.9999:
            return f">{NBSP}99{NBSP}%"
        if 0 < part < 0.005:
            return f"<{NBSP}1{NBSP}%"
        return f"{self.number(100 * part, 0)}{NBSP}%"

    def partly(self, coverage: float | None) -> str:
        """Return the coverage in brackets where it is less than nearly all."""
        if coverage is None or coverage >= WELL_COVERED:
            return ""
        return f" (of {self.share(coverage)} of the time)"

    def hours(self, value: float | None) -> str:
        """Return hours; a few minutes do not look like none."""
        if value is not None and 0 < value < 0.05:
            return f"<{NBSP}{self.amount(0.1, 1, 'h')}"
        return DASH if value is None else self.amount(value, 1, "h")

    def hours_outside(self, value: float | None) -> str:
        """Return hours that stand out, unless there are hardly any."""
        return Out(self.hours(value)) if value is not None and value >= 0.05 else self.hours(value)

    def lasting(self, seconds: float) -> str:
        """Return a length of time in its two largest units."""
        whole = max(0, round(seconds))
        if whole < 90:
            return f"{whole}{NBSP}s"
        minutes = round(whole / 60)
        if minutes < 60:
            return f"{minutes}{NBSP}min"
        if minutes < 48 * 60:
            return _pair(minutes // 60, "h", minutes % 60, "min")
        hours = round(minutes / 60)
        return _pair(hours // 24, "d", hours % 24, "h")

    def local(self, time: str) -> datetime:
        """Return a time of the interface on the farm's clock."""
        return datetime.fromisoformat(time).astimezone(self.farm.farm.zone_info)

    def clock(self, time: str | None) -> str:
        """Return the farm's time of day."""
        return NOT_KNOWN if time is None else self.local(time).strftime("%H:%M")

    def day_and_clock(self, time: str | None) -> str:
        """Return the farm's day and time of day."""
        if time is None:
            return NOT_KNOWN
        return format_datetime(datetime.fromisoformat(time), "EEE d MMM, HH:mm", tzinfo=self._zone, locale=WORDS)

    def moment(self, at_us: int) -> str:
        """Return an instant in full, with the farm's offset from UTC then."""
        return format_datetime(instant(at_us), "EEE d MMM yyyy, HH:mm:ss 'UTC'xxx", tzinfo=self._zone, locale=WORDS)

    def day(self, day: date | str) -> str:
        """Return a calendar day."""
        day = date.fromisoformat(day) if isinstance(day, str) else day
        return format_date(day, "EEE d MMM yyyy", locale=WORDS)

    def short_day(self, day: date | str) -> str:
        """Return a calendar day without its year."""
        day = date.fromisoformat(day) if isinstance(day, str) else day
        return format_date(day, "EEE d MMM", locale=WORDS)

    def series(self, key: str) -> str:
        """Return what a series is called, with its place."""
        series = Series.parse(self.farm.name, key)
        return f"{self.farm.zone_label(series.zone)}, {self.farm.label_of(series)}"

    def shape(self, key: str, unit: str) -> tuple[int, str]:
        """Return decimals and unit in which a series is shown; of one nobody knows any more, what the sheet says."""
        quantity = _quantity(key)
        return (
            (1, shown_unit(unit)) if quantity is None else (quantity.decimals, quantity.display_unit.replace(" ", NBSP))
        )


def _quantity(key: str) -> Quantity | None:
    parts = key.split("/")
    return QUANTITIES.get(parts[1]) if len(parts) > 1 else None


def _pair(whole: int, unit: str, rest: int, small: str) -> str:
    return f"{whole}{NBSP}{unit}" + (f" {rest}{NBSP}{small}" if rest else "")


def capital(text: str) -> str:
    """Return a text with a capital letter first."""
    return text[:1].upper() + text[1:]


def listed(names: Sequence[str]) -> str:
    """Return names as a phrase: a, b and c."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "none"
