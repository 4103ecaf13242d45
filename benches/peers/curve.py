#!/usr/bin/env python3
"""How long SciPy's sparse LU alone needs for an S-curve: one factorisation and one solve for
each Newton step of a plain full-Newton trace, a floor for any script around it.

    curve.py FOLDER

FOLDER is written by `cargo bench --bench jacobians -- NODES FOLDER curve`. Each point's matrix
is factored and solved with once, and counted as often as the point had Newton steps: the
matrices of a point's steps have the same pattern and nearly the same values. CPU time on one
thread; SciPy has no numeric phase of its own, so each factorisation orders anew. Steps before
the first point are left out. The matrix is row-scaled beforehand, and its exact zeros dropped;
neither is counted.
"""

import sys
import time
from pathlib import Path

import compare
import numpy as np
from scipy.sparse.linalg import splu


def once(matrix, given):
    """Seconds of one factorisation and solve, as SciPy orders or with our ordering."""
    if given:
        q = matrix.order
        a, b = matrix.csr[q][:, q].tocsc(), matrix.rhs[q]
        options = dict(permc_spec="NATURAL", diag_pivot_thresh=0.0,
                       options=dict(SymmetricMode=True))
    else:
        a, b, options = matrix.csr.tocsc(), matrix.rhs, {}
    before = time.process_time()
    splu(a, **options).solve(b)
    return time.process_time() - before


def main():
    folder = Path(sys.argv[1])
    steps = np.load(folder / "steps.npy")
    total = np.zeros(2)
    for k, count in enumerate(steps, 1):
        matrix = compare.Matrix(folder / str(k))
        total += [count * once(matrix, given) for given in (False, True)]
    print(f"{matrix.size} unknowns, {len(steps)} points, {steps.sum()} Newton steps: "
          f"{total[0]:.1f} s as SciPy orders, {total[1]:.1f} s with our ordering")


if __name__ == "__main__":
    main()
