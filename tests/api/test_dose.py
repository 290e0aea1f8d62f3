"""The dose arithmetic over HTTP."""

from __future__ import annotations

import pytest

from api import examples
from watch import cautions


def test_a_dose_of_stock(client):
    answer = client.json("dose?from_ms_cm=1.2&to_ms_cm=1.8&volume_l=200&stock_ms_cm=100")
    assert set(answer) == set(examples.EXAMPLES["dose"])
    assert answer["added_l"] == pytest.approx(1.2220, abs=0.00006)  # ec_doses.csv
    assert answer["final_volume_l"] == pytest.approx(201.222, abs=0.0001)
    assert answer["caution"] == cautions.ACID_AND_BASE


def test_water(client):
    answer = client.json("dose?from_ms_cm=2.4&to_ms_cm=1.8&volume_l=200&water_ms_cm=0.1")
    assert (answer["add"], answer["caution"]) == ("water", None)
    assert answer["added_l"] == pytest.approx(70.59, abs=0.006)  # ec_doses.csv


@pytest.mark.parametrize(
    ("query", "says"),
    [
        ("from_ms_cm=1.8&to_ms_cm=1.2&volume_l=200&stock_ms_cm=100", "stock only raises EC"),
        ("from_ms_cm=1.2&to_ms_cm=1.8&volume_l=200", "give exactly one of stock_ms_cm"),
        ("from_ms_cm=1.2&to_ms_cm=1.8&volume_l=nan&stock_ms_cm=100", "the volume is nan L"),
        ("from_ms_cm=1.2&to_ms_cm=1.8&volume_l=200&stock_ms_cm=100&bottles=0", "bottles"),
        ("to_ms_cm=1.8&volume_l=200&stock_ms_cm=100", "from_ms_cm"),
    ],
)
def test_what_cannot_be_is_a_problem(client, query, says):
    response = client(f"/api/v1/dose?{query}")
    assert response.status_code == 422
    assert response.headers["content-type"] == "application/problem+json"
    assert says in response.json()["detail"]


def test_ph_is_refused_with_a_caution(client):
    response = client("/api/v1/dose?from_ms_cm=6.5&to_ms_cm=5.8&volume_l=200&quantity=solution_ph")
    assert response.status_code == 422
    assert "pH cannot be worked out by dilution" in response.json()["detail"]
    assert response.json()["caution"] == cautions.ACID_AND_BASE
