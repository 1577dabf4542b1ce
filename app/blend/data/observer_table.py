"""Writes ../src/spectrum/observer.rs: run `python3 observer_table.py > ../src/spectrum/observer.rs`.

Needs colour-science from PyPI (written with 0.4.7), which carries the CIE tables:
the CIE 1931 2 degree observer (CIE 15, table of 1 nm) and illuminant D65 (CIE 15, 5 nm).
The weights follow ASTM E2022: a reflectance known every 10 nm is put between its readings by
Lagrange's cubic (quadratic in the first and last interval), and the weights are what that
gives when summed with observer x illuminant every 1 nm, 360-780 nm. The weights of the bands
outside 380-730 nm are added to the first and last band, as ASTM E308 has it for instruments
that do not reach so far.
"""

import colour
import numpy as np
from colour.colorimetry import (
    adjust_tristimulus_weighting_factors_ASTME308 as folded,
    tristimulus_weighting_factors_ASTME2022 as weighting_factors,
)

cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
cmfs.trim(colour.SpectralShape(360, 780, 1))
d65 = colour.SDS_ILLUMINANTS["D65"].copy()
d65.interpolate(colour.SpectralShape(360, 780, 1), colour.LinearInterpolator)
every_10 = colour.SpectralShape(360, 780, 10)
ours = colour.SpectralShape(380, 730, 10)
weights = folded(weighting_factors(cmfs, d65, every_10), every_10, ours)
white = np.array([0.9505, 1.0, 1.0890])
drift = weights.sum(axis=0) / 100 / white - 1
weights = weights / weights.sum(axis=0) * white

print("//! Weights for the CIE 1931 2° observer under D65. Written by `data/observer_table.py`.")
print("//!")
print("//! Source: the tables of CIE 15:2018 as carried by the PyPI package colour-science")
print(f"//! {colour.__version__}; summed by ASTM E2022 for readings every 10 nm, bands outside 380–730 nm")
print("//! added to the end bands (ASTM E308). Each column is scaled so that the perfect diffuser")
print("//! is exactly `colour::WHITE`; that moved X, Y, Z by parts in a million: "
      + ", ".join(f"{-d * 1e6:.0f}" for d in drift) + ".")
print()
print("/// X, Y and Z of a unit reflectance in each band, 380 to 730 nm.")
print(f"pub(super) const WEIGHTS: [[f64; 3]; {len(weights)}] = [")
for row in weights:
    print("    [" + ", ".join(f"{w:.9e}" for w in row) + "],")
print("];")
