"""Runs portable test modules where there is no pytest: `micropython -m tests.portable.run MODULE...`.

One line a test, the trace of every failure, and an exit code of 1 if there was one.
"""

import gc
import sys


def run(name):
    """Run every test of the module; returns (how many ran, how many failed)."""
    __import__(name)
    module = sys.modules[name]
    ran = failed = 0
    for test in sorted(dir(module)):
        if not test.startswith("test_"):
            continue
        gc.collect()
        ran += 1
        try:
            getattr(module, test)()
        except Exception as error:
            failed += 1
            print("FAILED %s.%s" % (name, test))
            sys.print_exception(error, sys.stdout)
        else:
            print("ok %s.%s" % (name, test))
    return ran, failed


def main(names):
    all_ran = all_failed = 0
    for name in names:
        ran, failed = run(name)
        if not ran:
            print("FAILED %s: there is no test in it" % name)
            failed = 1
        all_ran += ran
        all_failed += failed
        sys.modules.pop(name, None)
        gc.collect()
    print("%d ran, %d failed" % (all_ran, all_failed))
    return 1 if all_failed else 0


if __name__ == "__main__":
    # Collect early, or what is kept is strewn over all of a small heap.
    gc.threshold(16384)
    sys.exit(main(sys.argv[1:]))
