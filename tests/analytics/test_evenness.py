"""Evenness among places."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.evenness import evenness


@given(st.lists(st.floats(1, 2000), min_size=2, max_size=12))
def test_variation_is_scipys_and_uniformity_by_definition(values):
    ours = evenness(values)
    assert ours.coefficient_of_variation == pytest.approx(stats.variation(values, ddof=1), rel=1e-9, abs=1e-12)
    assert ours.uniformity == pytest.approx(min(values) / (sum(values) / len(values)), rel=1e-12)
    assert ours.count == len(values)


def test_scale_does_not_matter_and_even_is_even():
    rows = np.array([240.0, 255.0, 231.0, 250.0])
    assert evenness(rows).uniformity == pytest.approx(evenness(rows / 17.36).uniformity)
    assert (evenness([5.0, 5.0]).uniformity, evenness([5.0, 5.0]).coefficient_of_variation) == (1.0, 0.0)


def test_too_little_to_tell():
    assert evenness([math.nan, 10.0, 20.0]).count == 2
    one = evenness([10.0])
    assert (one.uniformity, one.count) == (1.0, 1)
    assert math.isnan(one.coefficient_of_variation)
    assert math.isnan(evenness([]).mean)
    dark = evenness([0.0, 0.0])
    assert math.isnan(dark.uniformity)
    assert dark.mean == 0.0
