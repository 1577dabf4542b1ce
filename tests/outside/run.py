"""Runs every outside check, several at a time, and prints a table; exits with 1 if one does not hold."""

import contextlib
import io
import os
import sys
import time
import traceback
from concurrent.futures import ProcessPoolExecutor

import bad_prints
import bodies
import chamber
import coloured_models
import colours
import exchange
import finished_parts
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
import own_parts
import photographs
import pictures
import profiles
import real_meshes
import sent
import spectra
import toolpath
import woven
from tools import Tools

SUBJECTS = [
    chamber, sent, keyed_in, lag_readings, bad_prints, colours, fits, spectra, misread,
    photographs, profiles, finished_parts, inks, layers, geodesics, meshes, real_meshes, toolpath, exchange, order,
    own_parts, woven, jumps, bodies, pictures, coloured_models,
]
# These take minutes, so they begin first.
LONG = [finished_parts, bodies, woven, own_parts, real_meshes]


def held(name: str) -> tuple[str, int, int]:
    """Runs a subject in a process of its own: what it printed, and how many checks hold and do not."""
    subject, tools = sys.modules[name], Tools()
    passed = failed = 0
    printed, began = io.StringIO(), time.monotonic()
    with contextlib.redirect_stdout(printed):
        print(f"\n{name}: {subject.__doc__.splitlines()[0]}")
        try:
            for check in subject.checks(tools):
                mark = "ok  " if check.holds else "FAIL"
                print(f"  {mark} {check.what}: worst {check.worst:.3g} of {check.allowed:.3g} allowed,"
                      f" {check.count} compared ({check.source})")
                passed, failed = passed + check.holds, failed + (not check.holds)
        except Exception:  # Whatever it is, the other subjects are still worth running.
            print(f"  FAIL {name} stopped\n{traceback.format_exc()}")
            failed += 1
        print(f"  {time.monotonic() - began:.0f} s")
    return printed.getvalue(), passed, failed


def main() -> int:
    Tools().build()
    passed = failed = 0
    with ProcessPoolExecutor(min(8, os.cpu_count() or 1)) as pool:
        first = {subject: pool.submit(held, subject.__name__) for subject in LONG}
        rest = [s for s in SUBJECTS if s not in first]
        runs = first | {subject: pool.submit(held, subject.__name__) for subject in rest}
        for subject in SUBJECTS:
            printed, good, bad = runs[subject].result()
            print(printed, end="", flush=True)
            passed, failed = passed + good, failed + bad
    print(f"\n{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main())
