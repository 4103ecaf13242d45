#!/usr/bin/env python3
"""What SciPy's sparse LU alone takes for the Jacobians of a whole curve, beside Holdpoint's run
of that curve: a floor for any script that solves with it.

    floor.py --holdpoint PROGRAM --sequence PROGRAM [--nodes 10000] [--threads 2]

--holdpoint is the program itself, --sequence the bench of that name (`cargo bench --bench
sequence --no-run` prints where it is). Holdpoint runs before and after; SciPy factors and
solves once for every Newton step, with its own ordering, each matrix without its exact zeros,
no time counted for anything else. Needs numpy and scipy.
"""

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

for name in ("OMP", "OPENBLAS", "MKL"):
    os.environ[f"{name}_NUM_THREADS"] = "1"

import numpy as np
import scipy
import scipy.sparse as sp
from scipy.sparse.linalg import splu

MESHES = Path(__file__).resolve().parents[2] / "meshes"


def snapback(nodes):
    """The shipped case at a node budget, its first experiment alone."""
    text = (MESHES / "tern180-pad.toml").read_text()
    head, first = re.split(r"(?m)^(?=\[\[experiment\]\])", text)[:2]
    head, count = re.subn(r"(?m)^nodes\s*=\s*\d+", f"nodes = {nodes}", head)
    assert count == 1 and "snapback" in first
    return head + first


def whole_run(program, nodes, threads):
    with tempfile.TemporaryDirectory() as folder:
        case = Path(folder) / "pad.toml"
        case.write_text(snapback(nodes))
        start = time.perf_counter()
        subprocess.run([program, "run", case, "-o", Path(folder) / "pad.h5", "--quiet",
                        "--threads", str(threads)], check=True, stdout=subprocess.DEVNULL)
        return time.perf_counter() - start


def sequence(program, nodes):
    """Matrix by matrix: CSC without its exact zeros, and a right-hand side."""
    child = subprocess.Popen([program, str(nodes)], stdout=subprocess.PIPE)
    read = lambda kind, count: np.frombuffer(child.stdout.read(count * np.dtype(kind).itemsize), kind)
    rows, blocks = read("<u4", 2)
    start, columns = (read("<u4", n).astype(np.int32) for n in (rows + 1, blocks))
    size = 3 * int(rows)
    while len(numbers := read("<f8", 9 * int(blocks) + size)):
        values = numbers[:-size].reshape(-1, 3, 3)
        a = sp.bsr_matrix((values, columns, start), shape=(size, size)).tocsc()
        a.eliminate_zeros()
        yield a, numbers[-size:]
    if child.wait() != 0:
        sys.exit("the sequence ended early")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--holdpoint", required=True)
    parser.add_argument("--sequence", required=True)
    parser.add_argument("--nodes", type=int, default=10000)
    parser.add_argument("--threads", type=int, default=2)
    args = parser.parse_args()
    run = lambda: whole_run(args.holdpoint, args.nodes, args.threads)
    ours = [run()]
    took = []
    for a, b in sequence(args.sequence, args.nodes):
        start = time.perf_counter()
        splu(a).solve(b)
        took.append(time.perf_counter() - start)
    ours.append(run())
    print(f"SciPy {scipy.__version__}: {len(took)} matrices of {a.shape[0]} unknowns in "
          f"{sum(took):.1f} s, {1e3 * min(took):.0f} to {1e3 * max(took):.0f} ms each")
    print(f"Holdpoint, the whole run on {args.threads} threads: "
          + ", ".join(f"{t:.2f} s" for t in ours))
    print(f"ratio {sum(took) / max(ours):.1f} to {sum(took) / min(ours):.1f}")


if __name__ == "__main__":
    main()
