"""Test prints with one thing wrong, by the simulator of plastics: is it told for what it is?

A step of a spool alone misread, sound prints with rough labels, steps under 25 % that feed nothing, lightness written as a fraction, and
sound prints of a white with a weak dark blue, which are nothing to worry about.
"""

import subprocess

import numpy as np

import fits
import plastics
from tools import Check

SOURCE = fits.SOURCE
PAIRS = [names for names in plastics.SETS if len(names) == 2]
# A reading less wrong than this is within what prints of different days differ by, ΔE00.
LEAST_OFF = 4.0


def fitted(tools, name, names, shares, labs, alone=None):
    folder = tools.folder / f"odd-{name}-{'-'.join(names)}"
    folder.mkdir()
    alone = plastics.mixed(names, np.eye(2), "stirred") if alone is None else alone
    (folder / "spools.ron").write_text(fits.spools_file(names, alone))
    (folder / "measured.csv").write_text(fits.table(shares, labs))
    return tools.tintfall("fit", folder / "measured.csv", "--out", folder / "pair.ron")


def warnings(fit, kind):
    return [w[kind] for w in fit["warnings"] if isinstance(w, dict) and kind in w]


def read(labs, seed):
    labs = labs + np.random.default_rng(seed).normal(0, 0.3, labs.shape)
    labs[:, 0] = labs[:, 0].clip(0, 100)
    return labs


def checks(tools):
    shares = fits.measured_steps(2)
    yield from alone_misread(tools, shares)
    yield from rough_labels(tools, shares)
    yield from slipping(tools, shares)
    yield from fraction(tools, shares)
    yield from weak_blue(tools, shares)


def alone_misread(tools, shares):
    """One step of a spool alone is read ten or so off: on the wrong spot, with light from the side."""
    draw = np.random.default_rng(11)
    missed, blamed = [], 0
    for i, names in enumerate(PAIRS):
        for n in range(4):
            step = (0, 5)[n % 2]
            labs = read(plastics.mixed(names, shares, "stirred"), i)
            while True:
                off = draw.normal(size=3)
                off *= 10 / np.linalg.norm(off)
                wrong = (labs[step] + off).clip([0, -128, -128], [100, 128, 128])
                apart = plastics.difference(wrong, labs[step])
                if apart > LEAST_OFF:
                    break
            labs[step] = wrong
            fit = fitted(tools, f"alone{n}", names, shares, labs)
            named = [w["step"] for w in warnings(fit, "AloneOff")] == [step + 1]
            blame = bool(warnings(fit, "LooksLikeFeedFault"))
            missed.append(not named)
            blamed += blame
            print(f"       {' and '.join(names)}, step {step + 1} off by ΔE00 {apart:.1f}: "
                  f"{'named' if named else 'not named'}{', feed blamed' if blame else ''}")
    yield Check("share of misread steps of a spool alone not named", SOURCE, np.mean(missed), 0.1, len(missed))
    yield Check("drives blamed for them", SOURCE, blamed, 0, len(missed))


def rough_labels(tools, shares):
    """Sound prints of spools whose labels are off by ΔE00 3 to 12: readings stand against labels."""
    draw = np.random.default_rng(12)
    called_off = []
    for i, names in enumerate(PAIRS):
        for way in plastics.WAYS:
            alone = plastics.mixed(names, np.eye(2), way)
            alone = (alone + draw.normal(0, 5, alone.shape)).clip([2, -128, -128], [99, 128, 128])
            labs = read(plastics.mixed(names, shares, way), i)
            fit = fitted(tools, f"rough-{way}", names, shares, labs, alone)
            called_off.append(bool(warnings(fit, "AloneOff")))
    yield Check("share of sound steps called misread, labels rough", SOURCE, np.mean(called_off), 0.05, len(called_off))


def slipping(tools, shares):
    """Below 25 % a component feeds nothing."""
    missed = []
    for i, names in enumerate(PAIRS):
        fed = np.where(shares < 0.25, 0, shares)
        fed /= fed.sum(axis=1, keepdims=True)
        fit = fitted(tools, "slip", names, shares, read(plastics.mixed(names, fed, "stirred"), i))
        faults = [list(w["fault"]) for w in warnings(fit, "LooksLikeFeedFault") if isinstance(w["fault"], dict)]
        named = ["FeedsNothingBelow"] in faults
        missed.append(not named or bool(warnings(fit, "AloneOff")))
    yield Check("share of slipping drives not named", SOURCE, np.mean(missed), 0.0, len(missed))


def fraction(tools, shares):
    names = PAIRS[0]
    labs = plastics.mixed(names, shares, "stirred") * [0.01, 1, 1]
    try:
        fitted(tools, "fraction", names, shares, labs)
        said = ""
    except subprocess.CalledProcessError as error:
        said = error.stderr
    yield Check("L* from 0 to 1 not told", "a mistake of units", 0 if "0.941" in said else 1, 0, 1)


def weak_blue(tools, shares):
    """A white that scatters much with a blue of less and less pigment, nine sound prints."""
    called_odd = []
    for i, weak in enumerate(np.repeat([2, 4, 8], 3)):
        plastics.PIGMENTS["weak blue"] = tuple(v / weak for v in plastics.PIGMENTS["blue"])
        names = ("white", "weak blue")
        labs = read(plastics.mixed(names, shares, "stirred"), i)
        fit = fitted(tools, f"weak{i}", names, shares, labs)
        called_odd.append(bool(warnings(fit, "OddStrength")))
    yield Check("share of sound prints called odd", SOURCE, np.mean(called_odd), 0.0, len(called_odd))
