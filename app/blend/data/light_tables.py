"""Writes ../src/spectrum/light_tables.rs: run `python3 light_tables.py > ../src/spectrum/light_tables.rs`.

Needs colour-science from PyPI (written with 0.4.7), which carries the tables of CIE 15:2018 for
illuminants A, FL11 (F11) and LED-B3, and the 1 nm table of the 1931 2 degree observer. The weights
are made as those of D65 are (`observer_table.py`), save that each light keeps its own white: Y of
the perfect diffuser is 1. Lights of narrow lines are put between their 5 nm values by straight
lines, as CIE 15 has it.
"""

import colour
import numpy as np
from colour.colorimetry import (
    adjust_tristimulus_weighting_factors_ASTME308 as folded,
    tristimulus_weighting_factors_ASTME2022 as weighting_factors,
)

cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
every_10 = colour.SpectralShape(380, 780, 10)
cmfs.trim(colour.SpectralShape(380, 780, 1))
ours = colour.SpectralShape(380, 730, 10)

print("//! Weights for the CIE 1931 2° observer under other lights than D65. Written by")
print("//! `data/light_tables.py`, which says how.")
print("//!")
print("//! Source: the tables of CIE 15:2018 as carried by the PyPI package colour-science")
print(f"//! {colour.__version__}; summed by ASTM E2022 for readings every 10 nm, bands above 730 nm added to the last")
print("//! band (ASTM E308).")
for name, const in (("A", "A"), ("FL11", "F11"), ("LED-B3", "LED_B3")):
    light = colour.SDS_ILLUMINANTS[name].copy()
    light.interpolate(colour.SpectralShape(380, 780, 1), colour.LinearInterpolator)
    weights = folded(weighting_factors(cmfs, light, every_10), every_10, ours)
    weights = weights / weights[:, 1].sum()
    print()
    print(f"/// X, Y and Z of a unit reflectance in each band, 380 to 730 nm, under {const.replace('_', '-')}.")
    print(f"pub(super) const {const}: [[f64; 3]; {len(weights)}] = [")
    for row in weights:
        print("    [" + ", ".join(f"{w:.9e}" for w in row) + "],")
    print("];")
