"""Runs a command from a small process, so that its peak memory is its own and not its parent's.

    python3 measured.py CORES COMMAND...

CORES are the numbers of those that it may use, with commas between, or nothing for all. Prints seconds,
those of all its processors, and the peak memory in MB, as JSON; then what it said, if it failed.
"""

import json
import os
import sys
import time


def main():
    cores, *command = sys.argv[1:]
    start = time.perf_counter()
    child = os.fork()
    if child == 0:
        if cores:
            os.sched_setaffinity(0, map(int, cores.split(",")))
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        os.execvp(command[0], command)
    _, status, used = os.wait4(child, 0)
    seconds = time.perf_counter() - start
    print(json.dumps([seconds, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024]))
    sys.exit(os.waitstatus_to_exitcode(status))


if __name__ == "__main__":
    main()
