"""The command line of the fuzzer; exit 1 where a promise broke."""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import sys
from pathlib import Path

from fuzz.loop import fuzz


def main() -> int:
    """The command line of this script; exit 1 where a promise broke."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--only", default="0:1000000000", help="FIRST:COUNT")
    parser.add_argument("--keep", type=Path, default=Path("found"), help="folder of what broke")
    given = parser.parse_args()
    seed = random.SystemRandom().randrange(2**32) if given.seed is None else given.seed
    first, _, count = given.only.partition(":")
    print(f"seed {seed}", flush=True)
    numbers = range(int(first), int(first) + int(count or 1))
    told = fuzz(seed, numbers, given.seconds, quiet=False)
    tried = sum(told.tried.values())
    print(f"{tried} mutants: {dict(told.tried.most_common())}; exit codes {dict(told.codes)}")
    print(
        f"slowest {told.slowest[0]:.1f} s CPU ({told.slowest[1]}), {told.largest >> 20} MB at most"
    )
    for one in told.found:
        given.keep.mkdir(exist_ok=True)
        stem = f"{seed}-{one.number}"
        (given.keep / f"{stem}-{one.kind}").write_bytes(one.spoilt)
        words = json.dumps({"words": one.words, "what": one.what, "told": one.told}, indent=1)
        (given.keep / f"{stem}.json").write_text(words)
    print(f"{tried - len(told.found)} passed, {len(told.found)} failed")
    return int(bool(told.found))


if __name__ == "__main__":
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    resource.setrlimit(resource.RLIMIT_AS, (4 * 2**30, 4 * 2**30))
    sys.exit(main())
