"""Runs every outside check and prints a table; exits with 1 if one does not hold."""

import sys

import bad_prints
import bodies
import chamber
import colours
import exchange
import fits
import geodesics
import inks
import jumps
import keyed_in
import lag_readings
import layers
import meshes
import misread
import order
import real_meshes
import sent
import spectra
import toolpath
from tools import Tools

SUBJECTS = [
    chamber, sent, keyed_in, lag_readings, bad_prints, colours, fits, spectra, misread, inks, layers, geodesics, meshes,
    real_meshes, toolpath, exchange, order, jumps, bodies,
]


def main() -> int:
    tools = Tools()
    tools.build()
    passed = failed = 0
    for subject in SUBJECTS:
        print(f"\n{subject.__doc__.splitlines()[0]}")
        for check in subject.checks(tools):
            mark = "ok  " if check.holds else "FAIL"
            print(f"  {mark} {check.what}: worst {check.worst:.3g} of {check.allowed:.3g} allowed,"
                  f" {check.count} compared ({check.source})")
            passed, failed = passed + check.holds, failed + (not check.holds)
    print(f"\n{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main())
