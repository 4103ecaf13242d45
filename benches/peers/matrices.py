"""Jacobians as `cargo bench --bench jacobians` writes them."""

import numpy as np
import scipy.sparse as sp


def read(folder):
    """CSR without its exact zeros, and our elimination order of the unknowns."""
    load = lambda name: np.load(folder / f"{name}.npy")
    start, columns = load("start").astype(np.int32), load("columns").astype(np.int32)
    nodes = len(start) - 1
    a = sp.bsr_matrix((load("values").reshape(-1, 3, 3), columns, start),
                      shape=(3 * nodes, 3 * nodes)).tocsr()
    a.eliminate_zeros()
    return a, load("order").astype(np.int32)
