#!/usr/bin/env python3
"""Numeric factorisation by Holdpoint's `linear` and by general-purpose libraries, on the
same matrices, in one interleaved run: CPU time on one thread, least of several.

    compare.py --serve PROGRAM FOLDER...

FOLDERs are written by `cargo bench --bench jacobians`, PROGRAM is the bench `serve`
(`cargo bench --bench serve --no-run` prints where it is). Needs numpy, scipy, pypardiso
(PyPI) and UMFPACK (Debian: libumfpack5, libopenblas0-pthread); see docs/performance.md.

Every library gets the same row-scaled matrix without its exact zeros; ours the blocks as
assembled (it scales them itself, within the time). In a second column each library that
takes an ordering gets ours. The order of rows and columns is otherwise node by node.
"""

import argparse
import ctypes
import os
import subprocess
import sys
import time
from ctypes.util import find_library
from pathlib import Path

for name in ("OMP", "OPENBLAS", "MKL"):
    os.environ[f"{name}_NUM_THREADS"] = "1"

import numpy as np
import scipy
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from matrices import read


class Matrix:
    """One Jacobian: row-scaled CSR, and our elimination order of the unknowns."""

    def __init__(self, folder):
        a, self.order = read(folder)
        largest = abs(a).max(axis=1).toarray().ravel()
        self.csr = (sp.diags(1.0 / largest) @ a).tocsr()
        self.csr.sort_indices()
        self.size = a.shape[0]
        self.rhs = self.csr @ np.cos(0.3 * np.arange(self.size))

    def error(self, solve):
        """Componentwise backward error after one refinement."""
        x = solve(self.rhs)
        x = x + solve(self.rhs - self.csr @ x)
        return np.max(abs(self.rhs - self.csr @ x)
                      / (abs(self.csr) @ abs(x) + abs(self.rhs)))


class Served:
    """A solver in a process of its own, told to factor through a pipe."""

    def __init__(self, program, solver, folder):
        self.child = subprocess.Popen([program, solver, str(folder)], text=True,
                                      stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        # The process's CPU clock (clock_getcpuclockid of POSIX, as Linux numbers it).
        self.clock = (~self.child.pid) << 3 | 2
        self.error = float(self.ask("solve"))

    def ask(self, what):
        self.child.stdin.write(what + "\n")
        self.child.stdin.flush()
        return self.child.stdout.readline()

    def factor(self):
        before = time.clock_gettime(self.clock)
        self.ask("factor")
        return time.clock_gettime(self.clock) - before

    def close(self):
        self.child.stdin.close()
        self.child.wait()


class Local:
    """A solver in this process: `run` is the numeric factorisation."""

    def __init__(self, run, solve, matrix):
        self.run = run
        run()
        self.error = matrix.error(solve)

    def factor(self):
        before = time.process_time()
        self.run()
        return time.process_time() - before

    def close(self):
        pass


def superlu(matrix, given):
    if given:
        q = matrix.order
        a = matrix.csr[q][:, q].tocsc()
        options = dict(permc_spec="NATURAL", diag_pivot_thresh=0.0,
                       options=dict(SymmetricMode=True))
    else:
        q = np.arange(matrix.size)
        a, options = matrix.csr.tocsc(), {}
    kept = []

    def run():
        kept[:] = [splu(a, **options)]

    def solve(b):
        x = np.empty(matrix.size)
        x[q] = kept[0].solve(b[q])
        return x

    return Local(run, solve, matrix)


def address(array):
    return array.ctypes.data_as(ctypes.c_void_p)


def umfpack(matrix, given):
    lib = ctypes.CDLL(find_library("umfpack") or "libumfpack.so.5")
    a = matrix.csr.tocsc()
    a.sort_indices()
    n = matrix.size
    control, info = np.zeros(20), np.zeros(90)
    lib.umfpack_di_defaults(address(control))
    symbolic, numeric = ctypes.c_void_p(), ctypes.c_void_p()
    parts = (address(a.indptr), address(a.indices), address(a.data))
    end = (ctypes.byref(symbolic), address(control), address(info))
    if given:
        # Without this an ordering that is handed over is used for columns only.
        control[5] = 3  # UMFPACK_STRATEGY = symmetric
        order = np.ascontiguousarray(matrix.order, dtype=np.int32)
        code = lib.umfpack_di_qsymbolic(n, n, *parts, address(order), *end)
    else:
        code = lib.umfpack_di_symbolic(n, n, *parts, *end)
    if code != 0:
        raise RuntimeError(f"umfpack symbolic: {code}")

    def run():
        if numeric:
            lib.umfpack_di_free_numeric(ctypes.byref(numeric))
        code = lib.umfpack_di_numeric(*parts, symbolic, ctypes.byref(numeric),
                                      address(control), address(info))
        if code != 0:
            raise RuntimeError(f"umfpack numeric: {code}")

    def solve(b):
        x = np.empty(n)
        control[7] = 0  # UMFPACK_IRSTEP: no refinement of its own
        lib.umfpack_di_solve(0, *parts, address(x), address(b), numeric, address(control),
                             address(info))
        return x

    return Local(run, solve, matrix)


def pardiso(matrix, given):
    import pypardiso
    call = pypardiso.PyPardisoSolver()._mkl_pardiso
    call.argtypes = [ctypes.c_void_p] * 16
    n = matrix.size
    ia = (matrix.csr.indptr + 1).astype(np.int32)
    ja = (matrix.csr.indices + 1).astype(np.int32)
    data = matrix.csr.data
    pt, iparm = np.zeros(64, dtype=np.int64), np.zeros(64, dtype=np.int32)
    perm = np.zeros(n, dtype=np.int32)
    if given:
        # MKL's documented defaults for this type of matrix, and `perm` in use.
        for k, v in {1: 1, 2: 2, 5: 1, 10: 13, 11: 1, 13: 1}.items():
            iparm[k - 1] = v
        perm[:] = matrix.order + 1
    x, b = np.zeros(n), matrix.rhs.copy()
    number = lambda v: np.array([v], dtype=np.int32)
    one, zero, size, kind, error = number(1), number(0), number(n), number(11), number(0)

    def phase(which):
        which = number(which)
        call(*map(address, (pt, one, one, kind, which, size, data, ia, ja, perm, one, iparm,
                            zero, b, x, error)))
        if error[0] != 0:
            raise RuntimeError(f"pardiso: {error[0]}")

    phase(11)

    def solve(rhs):
        b[:] = rhs
        phase(33)
        return x.copy()

    return Local(lambda: phase(22), solve, matrix)


PEERS = [("UMFPACK", umfpack), ("SuperLU (SciPy)", superlu), ("MKL PARDISO", pardiso)]


def compare(folder, program, runs):
    matrix = Matrix(folder)
    solvers = {("ours", True): Served(program, "ours", folder),
               ("faer", False): Served(program, "faer", folder)}
    for name, make in PEERS:
        for given in (False, True):
            solvers[name, given] = make(matrix, given)
    times = {key: [] for key in solvers}
    for _ in range(runs):
        for key, solver in solvers.items():
            times[key].append(1e3 * solver.factor())
    ours = min(times["ours", True])
    print(f"\n{folder.name}: {matrix.size} unknowns, {matrix.csr.nnz} entries")
    print("| solver | ordering | ms | times ours | backward error |")
    print("|---|---|---|---|---|")
    for key, solver in solvers.items():
        least = min(times[key])
        ordering = "ours" if key[1] else "its own"
        print(f"| {key[0]} | {ordering} | {least:.1f} | {least / ours:.2f} "
              f"| {solver.error:.0e} |")
        solver.close()
    sys.stdout.flush()
    return {key: min(t) / ours for key, t in times.items()}


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--serve", required=True)
    parser.add_argument("--runs", type=int, default=6)
    parser.add_argument("folders", nargs="+", type=Path)
    args = parser.parse_args()
    print(f"numpy {np.__version__}, scipy {scipy.__version__}")
    for folder in args.folders:
        compare(folder, args.serve, args.runs)


if __name__ == "__main__":
    main()
