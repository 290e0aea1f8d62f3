"""Batches over HTTP."""

from farm.check import check_text
from tests.api.conftest import Client, assert_problem
from tests.conftest import SMALL_FARM

BATCH = """
[[batches]]
name = "cress-1"
crop = "cress"
sown = 2026-03-01
[[batches.stays]]
zone = "row"
phase = "growing"
entered = 2026-03-01T00:00:00Z
left = 2026-03-02T00:00:00Z
"""


def test_batches_and_what_one_had(house):
    farm, mistakes = check_text(SMALL_FARM + BATCH)
    assert farm is not None, mistakes
    client = Client(house, farm=farm)
    assert client.json("batches")["batches"] == [
        {"batch": "cress-1", "crop": "cress", "sown": "2026-03-01", "zones": ["row"]}
    ]
    found = client.json("batches/cress-1")
    # 250 umol m-2 s-1 for 16 h are 14.40 mol m-2, by definition; the two ramps of a minute add one half each
    assert abs(found["total"]["mol"] - 14.40) < 0.01
    assert found["stays"][0]["light"]["series"] == ["row/ppfd"]
    assert found["total"]["degree_hours_k_h"] is None
    body = assert_problem(client("/api/v1/batches/cress-2"), 404)
    assert "cress-1" in body["detail"]
