"""The lattice: its rotations against SciPy's, its places against their definition."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from recon.geometry.lattice import lattice_classes, places_between, rotations, snap, upright_rotations

WIDTHS = st.sampled_from([1.0, 1.5, 1.75, 2.0, 0.8])


def test_the_turns_are_the_rotations_of_a_cube():
    # The octahedral rotation group, as SciPy builds it (scipy.spatial.transform.Rotation.create_group("O")).
    theirs = {tuple(np.round(m).astype(int).ravel()) for m in Rotation.create_group("O").as_matrix()}
    assert {tuple(m.ravel()) for m in rotations()} == theirs
    assert (rotations()[0] == np.eye(3)).all()


def test_four_turns_keep_z_up():
    assert len(upright_rotations()) == 4
    assert (upright_rotations() @ [0, 0, 1] == [0, 0, 1]).all()


@pytest.mark.parametrize(
    "width, classes",
    [
        (1.0, [0]),
        (2.0, [0]),
        (1.5, [0, 0.5]),
        (1.75, [0, 0.25, 0.5, 0.75]),
        (2.5, [0, 0.5]),
        (0.8, [0, 0.2, 0.4, 0.6, 0.8]),
    ],
)
def test_places_within_a_pitch(width, classes):
    assert lattice_classes([width]) == pytest.approx(classes)


def test_two_widths_meet_at_half_their_sum():
    assert lattice_classes([1.0, 1.5], laps=1) == pytest.approx([0, 0.25, 0.5, 0.75])


@given(st.integers(-40, 40), st.integers(-4, 4), WIDTHS, st.floats(-0.04, 0.04))
def test_snapping_finds_the_place_near_by(a, b, width, noise):
    place = a + b * width
    snapped, rest = snap([[place + noise]], lattice_classes([width]))
    assert snapped == pytest.approx(place)
    assert rest == pytest.approx(noise)


@given(st.integers(3000, 30000).filter(lambda n: n % 10 != 5))
def test_places_of_one_width_are_its_multiples(ten_thousandths):
    """As whole pitches plus up to four widths either way, in thousandths; a 5 in the last place may round
    either way."""
    width = ten_thousandths / 10000
    multiples = np.unique(np.round((np.arange(-4, 5) * width) % 1.0, 3) % 1.0)
    if not any(round(k * ten_thousandths) % 10 == 5 for k in range(5)):
        assert lattice_classes([width], decimals=3) == pytest.approx(multiples)


@given(st.lists(WIDTHS, min_size=1, max_size=3), st.lists(st.floats(-50, 50), min_size=1, max_size=8))
def test_no_place_is_nearer_than_the_one_snapped_to(widths, values):
    classes = lattice_classes(widths)
    snapped, rest = snap(values, classes)
    everywhere = np.add.outer(np.arange(-52, 53), classes).ravel()
    assert np.abs(rest) == pytest.approx(np.abs(np.subtract.outer(values, everywhere)).min(axis=1))
    assert snapped + rest == pytest.approx(values)
    assert np.abs(snapped[:, None] - everywhere).min(axis=1) == pytest.approx(0)


@given(st.floats(-20, 0), st.floats(0.1, 20), st.floats(-3, 3), WIDTHS)
def test_places_between_are_all_there_are(low, high, origin, width):
    classes = lattice_classes([width])
    every = (origin + k + c for k, c in itertools.product(range(-30, 31), classes))
    clear = [p for p in every if min(abs(p - low), abs(p - high)) > 1e-9]
    found = places_between(low, high, origin, classes)
    found = found[(np.abs(found - low) > 1e-9) & (np.abs(found - high) > 1e-9)]
    assert sorted(found) == pytest.approx(sorted(p for p in clear if low < p < high))
