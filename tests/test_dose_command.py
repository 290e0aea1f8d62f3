"""`leafweather dose` as a person calls it."""

from __future__ import annotations

from typer.testing import CliRunner

from leafweather.cli import app
from watch import cautions


def run(*arguments):
    return CliRunner().invoke(app, ["dose", *arguments])


def test_a_dose_of_stock():
    # 1.222 L: ec_doses.csv
    done = run("--from", "1.2", "--to", "1.8", "--volume-l", "200", "--stock-ms-cm", "100")
    assert done.exit_code == 0, done.output
    assert "Add 1.222 L of stock, give or take 0.061 L: 200 L become 201.2 L." in done.stdout
    assert "Add half of it first" in done.stdout
    assert "Half of it is 0.611 L." in done.stdout
    assert cautions.ACID_AND_BASE in done.stdout


def test_two_bottles_and_water():
    done = run("--from", "1.2", "--to", "1.8", "--volume-l", "200", "--ec-per-ml-l", "0.1", "--bottles", "2")
    assert "0.611 L of each of 2 bottles" in done.stdout
    done = run("--from", "2.4", "--to", "1.8", "--volume-l", "200", "--water-ms-cm", "0")
    assert "Add 66.667 L of water, give or take 3.333 L: 200 L become 266.7 L." in done.stdout  # 66.67: ec_doses.csv


def test_ph_is_refused_with_what_to_do_and_a_caution():
    done = run("--from", "6.5", "--to", "5.8", "--volume-l", "200", "--stock-ms-cm", "1", "--quantity", "solution_ph")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "pH cannot be worked out by dilution" in done.stderr
    assert "let it mix, measure, and repeat" in done.stderr
    assert cautions.ACID_AND_BASE in done.stderr


def test_what_cannot_be_is_one_message():
    done = run("--from", "1.8", "--to", "1.2", "--volume-l", "200", "--stock-ms-cm", "100")
    assert done.exit_code == 2
    assert done.stderr.count("\n") == 1
    assert "stock only raises EC. Work out a dilution with water instead" in done.stderr
    assert run("--from", "1.2", "--to", "1.8", "--volume-l", "200").exit_code == 2


def test_messages_name_the_options_as_they_are_typed():
    nothing = run("--from", "1.2", "--to", "1.8", "--volume-l", "200").stderr
    for option in ("--stock-ms-cm", "--ec-per-ml-l", "--water-ms-cm"):
        assert option in nothing
    assert "_ms_cm" not in nothing
    assert run("--from", "1200", "--to", "1800", "--volume-l", "200", "--stock-ms-cm", "100").stderr == (
        "--from is 1200.0: give an EC in mS/cm, 0 to 500\n"
    )
    both = run("--from", "1.2", "--to", "1.8", "--volume-l", "200", "--stock-ms-cm", "9", "--water-ms-cm", "0").stderr
    assert both.startswith("given is --stock-ms-cm and --water-ms-cm: ")
