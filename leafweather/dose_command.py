"""``leafweather dose``: how much stock or water brings a reservoir's EC to a target."""

from __future__ import annotations

from typing import Annotated

import typer

BAD_CALL = 2
OPTIONS = {
    "from_ms_cm": "--from",
    "to_ms_cm": "--to",
    "stock_ms_cm": "--stock-ms-cm",
    "ec_per_ml_l": "--ec-per-ml-l",
    "water_ms_cm": "--water-ms-cm",
}


def dose(
    from_: Annotated[float, typer.Option("--from", help="EC now, mS/cm at 25 degC")],
    to: Annotated[float, typer.Option("--to", help="EC wanted")],
    volume_l: Annotated[float, typer.Option(help="solution in the reservoir now, L")],
    stock_ms_cm: Annotated[float | None, typer.Option(help="strength of the stock, as the EC it would have")] = None,
    ec_per_ml_l: Annotated[float | None, typer.Option(help="or: mS/cm that 1 mL of it adds to 1 L")] = None,
    water_ms_cm: Annotated[float | None, typer.Option(help="or: EC of the water that dilutes; 0 for pure")] = None,
    bottles: Annotated[int, typer.Option(help="stocks of that strength given in equal volumes")] = 1,
    quantity: Annotated[str, typer.Option(help="solution_ec; solution_ph is refused, with what to do instead")] = (
        "solution_ec"
    ),
) -> None:
    """Work out how much stock or water brings a reservoir's EC to a target, by mass balance."""
    from analytics.dosing import check_dosable, ec_dose
    from watch import cautions

    try:
        check_dosable(quantity)
        found = ec_dose(
            from_,
            to,
            volume_l,
            stock_ms_cm=stock_ms_cm,
            ec_per_ml_l=ec_per_ml_l,
            water_ms_cm=water_ms_cm,
            bottles=bottles,
        )
    except ValueError as error:
        caution = f"\n{cautions.ACID_AND_BASE}" if quantity == "solution_ph" else ""
        message = str(error)
        for name, option in OPTIONS.items():
            message = message.replace(name, option)
        typer.echo(f"{message}{caution}", err=True)
        raise typer.Exit(BAD_CALL) from error
    what = "water" if water_ms_cm is not None else "stock"
    each = f", {found.each_l:.3f} L of each of {bottles} bottles" if bottles > 1 else ""
    typer.echo(
        f"Add {found.added_l:.3f} L of {what}{each}, give or take {found.plus_or_minus_l:.3f} L: "
        f"{volume_l:g} L become {found.final_volume_l:.1f} L."
    )
    typer.echo(f"{found.advice} Half of it is {found.first_l:.3f} L.")
    if what == "stock":
        typer.echo(cautions.ACID_AND_BASE)
