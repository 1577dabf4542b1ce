"""A simulator of coloured plastics and of how spools meet in a strand. It shares nothing with Tintfall.

Pigments are sums of bells and edges in absorption over scattering that falls slowly with the
wavelength, every 5 nm; light goes through them after Kubelka and Munk (1931, 1948; from memory)
and Saunderson (1942; from memory); colour-science turns reflectance into CIELAB. Spools meet in
one of four ways:

- stirred: absorption and scattering add up (Duncan, Proceedings of the Physical Society 52, 1940);
- beside: reflectances add up by area (Murray, Journal of the Franklin Institute 221, 1936);
- dots: their square roots do, light having wandered from one spool into the other (Yule and
  Nielsen, TAGA Proceedings 1951, n = 2);
- streaks: shares scatter along the strand as a Dirichlet distribution does, with an intensity
  of segregation (Danckwerts, Applied Scientific Research A3, 1952) of 0.25.

Volumes and years are from memory. The pigments are invented.
"""

import colour
import numpy as np
from scipy import stats

SHAPE = colour.SpectralShape(380, 780, 5)
NM = SHAPE.wavelengths
CMFS = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE)
# The white of IEC 61966-2-1, to its four digits, which Tintfall says it uses.
WHITE = colour.XYZ_to_xy(np.array([0.9505, 1.0, 1.0890]))
K1, K2 = 0.04, 0.6
SEGREGATION = 0.25


def bell(centre, width, height):
    return height * np.exp(-0.5 * ((NM - centre) / width) ** 2)


def edge(middle, width, height):
    """Absorbs what is shorter than an edge."""
    return height / (1 + np.exp((NM - middle) / width))


def scattering(at_550, exponent=1.0):
    return at_550 * (550.0 / NM) ** exponent


# Absorption and scattering, per mm.
PIGMENTS = {
    "white": (0.02 + edge(402, 5, 20), scattering(22, 0.6)),
    "bone": (0.05 + edge(430, 25, 1.2), scattering(15, 0.8)),
    "blue": (0.4 + bell(600, 55, 16) + bell(680, 60, 12) + edge(395, 8, 6), scattering(3.5)),
    "black": (np.full_like(NM, 34.0), scattering(1.5)),
    "yellow": (0.06 + edge(505, 9, 14), scattering(9)),
    "red": (0.15 + edge(592, 8, 13), scattering(6)),
    "green": (0.3 + edge(440, 15, 7) + bell(650, 45, 9), scattering(5)),
    "turquoise": (0.15 + bell(640, 70, 7) + edge(400, 8, 3), scattering(6)),
    "orange": (0.08 + edge(560, 10, 10), scattering(8)),
    "violet": (0.5 + bell(560, 45, 11), scattering(4)),
}
SETS = [
    ("white", "blue"), ("bone", "black"), ("yellow", "blue"), ("red", "yellow"),
    ("turquoise", "orange"), ("white", "violet", "green"),
]
WAYS = ["stirred", "beside", "dots", "streaks"]


def inside_thick(k, s):
    ratio = k / s
    return 1 + ratio - np.sqrt(ratio * ratio + 2 * ratio)


def inside_layer(k, s, thickness_mm, backing):
    a = 1 + k / s
    b = np.sqrt(a * a - 1)
    u = b / np.tanh(b * s * thickness_mm)
    return (1 - backing * (a - u)) / (a - backing + u)


def outside(inside):
    """Gloss excluded: the light that the surface throws back at once is lost, not seen."""
    return (1 - K1) * (1 - K2) * inside / (1 - K2 * inside)


def absorption_and_scattering(names, shares):
    k = sum(share * PIGMENTS[name][0] for name, share in zip(names, shares))
    s = sum(share * PIGMENTS[name][1] for name, share in zip(names, shares))
    return k, s


def draws(count, points=256):
    """Evenly spread points of a unit cube, for streaks."""
    return stats.qmc.Sobol(count, scramble=True, rng=5).random(points) * 0.999998 + 1e-6


def reflectance(names, shares, way):
    """Reflectance of thick plastic, every 5 nm."""
    shares = np.asarray(shares, float)
    present = [i for i, share in enumerate(shares) if share > 0]
    names, shares = [names[i] for i in present], shares[present]
    if way == "stirred" or len(names) == 1:
        return outside(inside_thick(*absorption_and_scattering(names, shares)))
    alone = np.array([outside(inside_thick(*PIGMENTS[name])) for name in names])
    if way == "beside":
        return shares @ alone
    if way == "dots":
        return (shares @ np.sqrt(alone)) ** 2
    gammas = stats.gamma.ppf(draws(len(names)), shares * (1 / SEGREGATION - 1))
    local = gammas / np.maximum(gammas.sum(axis=1, keepdims=True), 1e-300)
    k = local @ np.array([PIGMENTS[name][0] for name in names])
    s = local @ np.array([PIGMENTS[name][1] for name in names])
    return outside(inside_thick(k, s)).mean(axis=0)


def lab(reflectances, light="D65"):
    """CIELAB of reflectances, n × 81; under D65 by the white that Tintfall states."""
    reflectances = np.atleast_2d(reflectances)
    source = colour.SDS_ILLUMINANTS[light].copy().align(SHAPE).values
    weights = CMFS.values * source[:, None]
    weights = weights / weights[:, 1].sum()
    white = weights.sum(axis=0)
    xyz = reflectances @ weights
    if light == "D65":
        xyz, white = xyz / white * [0.9505, 1.0, 1.0890], np.array([0.9505, 1.0, 1.0890])
    return colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(white))


def mixed(names, all_shares, way):
    """CIELAB of several blends."""
    return lab(np.array([reflectance(names, shares, way) for shares in all_shares]))


def difference(one, other):
    return colour.delta_E(np.asarray(one), np.asarray(other), method="CIE 2000")
