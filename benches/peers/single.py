#!/usr/bin/env python3
"""Would factors in single precision do? Each Jacobian is factored in single and in double
precision by SciPy's SuperLU with our ordering, and solves are refined in double precision:

    single.py FOLDER...

FOLDERs are written by `cargo bench --bench jacobians`. Printed for each: the componentwise
backward error after 0, 1, 2, ... sweeps of refinement, and the time of both factorizations.
Needs numpy and scipy; see docs/performance.md.
"""

import os
import sys
import time
from pathlib import Path

for name in ("OMP", "OPENBLAS"):
    os.environ[f"{name}_NUM_THREADS"] = "1"

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from matrices import read

WANTED = 1e-13
MOST = 12


def scaled(folder):
    """Rows, then columns to a largest entry in [0.5, 1), by powers of two as `linear`."""
    a, order = read(folder)
    power = lambda v: 2.0 ** -(np.frexp(v)[1].astype(float))
    a = sp.diags(power(abs(a).max(axis=1).toarray().ravel())) @ a
    a = a @ sp.diags(power(abs(a).max(axis=0).toarray().ravel()))
    return a.tocsc()[order][:, order].tocsc()


def factor(a, kind):
    # The order is ours; pivots from the diagonal, as `linear` takes them.
    begun = time.process_time()
    lu = splu(a.astype(kind), permc_spec="NATURAL", diag_pivot_thresh=0.0,
              options={"SymmetricMode": True})
    return lu, time.process_time() - begun


def refined(a, lu, kind, b):
    """Backward errors after each sweep."""
    x, errors = np.zeros_like(b), []
    for _ in range(MOST + 1):
        r = b - a @ x
        most = np.max(abs(r))
        if most > 0.0:
            # Scaled into the range of single precision.
            x = x + most * lu.solve((r / most).astype(kind)).astype(float)
        size = abs(a) @ abs(x) + abs(b)
        e = np.divide(abs(b - a @ x), size, out=np.zeros_like(b), where=size > 0.0)
        errors.append(float(np.max(e)))
        if not np.isfinite(errors[-1]) or errors[-1] <= WANTED:
            break
    return errors


def main():
    for name in sys.argv[1:]:
        folder = Path(name)
        a = scaled(folder)
        # A solution of the size of a Newton step's, and one as uneven as a tangent's.
        random = np.random.default_rng(1)
        for what, truth in [("even", np.cos(0.3 * np.arange(a.shape[0]))),
                            ("uneven", 10.0 ** random.uniform(-12, 0, a.shape[0]))]:
            b = a @ truth
            for kind in (np.float32, np.float64):
                lu, seconds = factor(a, kind)
                errors = refined(a, lu, kind, b)
                shown = " ".join(f"{e:.0e}" for e in errors)
                print(f"{folder.name} {a.shape[0]} {what} {np.dtype(kind).name} "
                      f"{1e3 * seconds:.0f} ms: {len(errors) - 1} sweeps: {shown}", flush=True)


main()
