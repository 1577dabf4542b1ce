"""Colour conversions, differences and spectra, against colour-science.

The library's data sets are its own copies of published tables: CIE 15 (observer, D65) and
measured reflectances of colour-rendition charts and other sample sets. Colours are drawn with a
fixed seed, so a failure comes back.
"""

import colour
import numpy as np

from tools import Check

CMFS = "CIE 1931 2 Degree Standard Observer"
# The white of IEC 61966-2-1, to its four digits: code 255, 255, 255 is exactly L* = 100.
WHITE_XYZ = np.array([0.9505, 1.0, 1.0890])
WHITE = colour.XYZ_to_xy(WHITE_XYZ)


def checks(tools):
    draw = np.random.default_rng(20)
    codes = draw.integers(0, 256, (1500, 3))
    yield from srgb(tools, codes)
    yield from differences(tools, draw)
    yield from spectra(tools)
    yield from reconstruction(tools)
    yield from handbook(tools)
    yield from lights(tools)


def srgb(tools, codes):
    answers = tools.colours([{"srgb": code.tolist()} for code in codes])
    xyz = colour.sRGB_to_XYZ(codes / 255.0)
    off = np.abs(np.array([a["xyz"] for a in answers]) - xyz).max()
    yield Check("sRGB to XYZ", "colour-science, IEC 61966-2-1", off, 1e-9, len(codes))
    lab = colour.XYZ_to_Lab(np.array([a["xyz"] for a in answers]), WHITE)
    off = np.abs(np.array([a["lab"] for a in answers]) - lab).max()
    yield Check("XYZ to CIELAB", "colour-science, CIE 15", off, 1e-9, len(codes))
    back = tools.colours([{"lab": a["lab"]} for a in answers])
    off = np.abs(np.array([a["srgb"] for a in back], int) - codes).max()
    yield Check("sRGB to CIELAB and back, code values", "round trip", off, 0, len(codes))


def differences(tools, draw):
    scale = np.array([100.0, 200.0, 200.0])
    one = draw.random((3000, 3)) * scale - [0, 100, 100]
    near = one[1500:] + draw.normal(0, 2, (1500, 3))
    other = np.vstack([draw.random((1500, 3)) * scale - [0, 100, 100], near])
    answers = tools.colours([{"pair": [a, b]} for a, b in zip(one.tolist(), other.tolist())])
    theirs = colour.delta_E(one, other, method="CIE 2000")
    off = np.abs(np.array([a["delta_e00"] for a in answers]) - theirs).max()
    yield Check("CIEDE2000", "colour-science; Sharma, Wu, Dalal 2005", off, 1e-9, len(one))


def published_reflectances():
    """Every measured set of reflectances that the library carries."""
    for kind, family in colour.SDS_COLOURCHECKERS.items():
        for name, sample in family.items():
            yield f"{kind}: {name}", sample


def spectra(tools):
    cmfs = colour.MSDS_CMFS[CMFS].copy().align(colour.SpectralShape(380, 780, 5))
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(cmfs.shape)
    questions, theirs = [], []
    for _, sample in published_reflectances():
        pairs = np.column_stack([sample.wavelengths, sample.values]).tolist()
        questions.append({"spectrum": pairs})
        aligned = sample.copy().align(
            cmfs.shape, extrapolator_kwargs={"method": "Constant", "left": None, "right": None}
        )
        theirs.append(colour.sd_to_XYZ(aligned, cmfs, light, method="Integration") / 100.0)
    ours = np.array([a["xyz"] for a in tools.colours(questions)])
    theirs = np.array(theirs)
    off = (np.abs(ours - theirs) / theirs).max()
    yield Check("reflectance to XYZ", "colour-science's measured charts; CIE 15", off, 1e-3, len(ours))


def reconstruction(tools):
    steps = np.linspace(0, 255, 9).round().astype(int)
    codes = np.array(np.meshgrid(steps, steps, steps)).reshape(3, -1).T
    starts = [a["xyz"] for a in tools.colours([{"srgb": c.tolist()} for c in codes])]
    made = tools.colours([{"reconstruct": xyz} for xyz in starts])
    lab = lambda xyz: colour.XYZ_to_Lab(np.array(xyz), WHITE)
    miss = colour.delta_E(lab(starts), lab([a["xyz"] for a in made]), method="CIE 2000").max()
    yield Check("colour to reflectance and back, ΔE00", "round trip over the sRGB cube", miss, 0.01, len(codes))
    bands = np.array([a["bands"] for a in made])
    outside = max(0.0, -bands.min(), bands.max() - 1.0)
    yield Check("reflectances within 0 to 1", "conservation of energy", outside, 0, bands.size)


def handbook(tools):
    """K/S = (1 − R)² / 2R for an opaque layer (Kubelka and Munk 1931)."""
    table = {0.01: 49.005, 0.05: 9.025, 0.10: 4.05, 0.20: 1.6, 0.50: 0.25, 0.80: 0.025}
    answers = tools.colours([{"k_over_s": r} for r in table])
    off = max(abs(a["k_over_s"] / k - 1) for a, k in zip(answers, table.values()))
    yield Check("K/S of a reflectance", "Kubelka and Munk 1931, by hand", off, 1e-9, len(table))


def lights(tools):
    """Measured charts under A, F11 and LED-B3, each against its neighbour in the chart.

    The library sums every 1 nm with the lights' own tables; the index is written out here from
    CIE 15:2018 (special metamerism index, change of illuminant).
    """
    nm = np.arange(380, 731, 10)
    fine = colour.SpectralShape(380, 730, 1)
    cmfs = colour.MSDS_CMFS[CMFS].copy().align(fine)
    samples = []
    for _, sample in published_reflectances():
        sample = sample.copy().align(
            fine, extrapolator_kwargs={"method": "Constant", "left": None, "right": None}
        )
        samples.append(np.interp(nm, fine.wavelengths, sample.values))
    samples = np.clip(samples, 0.001, 1.0)
    # Between their readings as CIE 15 recommends.
    curves = [
        colour.SpragueInterpolator(nm, sample)(fine.wavelengths) for sample in samples
    ]
    for name, ours in (("A", "A"), ("FL11", "F11"), ("LED-B3", "LED-B3")):
        source = colour.SDS_ILLUMINANTS[name].copy()
        source.interpolate(fine, colour.LinearInterpolator)
        weights = cmfs.values * source.values[:, None]
        weights /= weights[:, 1].sum()
        white = colour.XYZ_to_xy(weights.sum(axis=0))
        seen = np.array(curves) @ weights
        labs = colour.XYZ_to_Lab(seen, white)
        others = np.roll(np.arange(len(samples)), 1)
        answers = tools.colours([
            {"lit": {"light": ours, "bands": samples[i].tolist(), "other": samples[j].tolist()}}
            for i, j in enumerate(others)
        ])
        off = colour.delta_E(np.array([a["lab"] for a in answers]), labs, method="CIE 2000").max()
        yield Check(f"colours under {ours}, ΔE00", "colour-science; CIE 15", off, 0.1, len(samples))
        day = np.array([a["xyz"] for a in tools.colours(
            [{"spectrum": np.column_stack([nm, s]).tolist()} for s in samples])])
        mended = seen[others] * day / day[others]
        index = colour.delta_E(labs, colour.XYZ_to_Lab(mended, white), method="CIE 2000")
        off = np.abs(np.array([a["metamerism"] for a in answers]) - index)
        yield Check(f"special metamerism index, {ours}", "CIE 15, by hand", off.max(), 0.1, len(samples))
