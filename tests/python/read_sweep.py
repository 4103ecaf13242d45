"""A gathered sweep opens as a labelled dataset; its CSV as a table."""

import csv
import os
import sys

import h5py
import netCDF4
import numpy as np
import xarray as xr

path, csv_path = sys.argv[1:3]

for engine in ("h5netcdf", "netcdf4"):
    ds = xr.open_dataset(path, engine=engine)
    assert dict(ds.sizes) == {"tau_n0": 3, "temperature": 2}, ds.sizes
    assert ds["V_h"].dims == ("tau_n0", "temperature"), ds["V_h"].dims
    assert list(ds["temperature"].values) == [300.0, 350.0]
    assert ds["temperature"].attrs["units"] == "K" and ds["V_h"].attrs["units"] == "V"
    one = ds.sel(temperature=350.0, tau_n0=2e-9, method="nearest")
    assert 0.5 < float(one["V_h"]) < 3.0 < float(one["V_t"]) < 60.0
    assert str(one["verdict"].values) == "not-reached" and str(one["status"].values) == "done"
    # The bar blocks less where it is hotter or its carriers live longer: lower current.
    assert bool((ds["I_t"] > 0).all()) and not bool(ds["V_t"].isnull().any())
    file = os.path.join(os.path.dirname(path), str(one["file"].values))
    with h5py.File(file) as case:
        assert case.attrs["temperature_K"] == 350.0
        v = case["experiment/0/points/holding/voltage"][()]
        assert v == float(one["V_h"])
    ds.close()

with h5py.File(path) as f:
    names = list(f["cases"])
    assert len(names) == 6, names
    linked = f["cases"][names[0]]
    assert linked.attrs["schema"] == "holdpoint-result", "the link leads to the case"

with netCDF4.Dataset(path) as nc:
    assert set(nc.dimensions) == {"tau_n0", "temperature"}
    assert nc["V_h"].shape == (3, 2)

with open(csv_path, newline="") as f:
    rows = list(csv.DictReader(f))
assert len(rows) == 6 and rows[1]["temperature [K]"] == "350.0", rows[1]
with h5py.File(path) as f:
    table = f["V_h"][()].ravel()
assert np.array_equal(table, [float(r["V_h [V]"]) for r in rows])
try:
    import pandas as pd
except ImportError:
    print("pandas is not here: its part is skipped")
else:
    frame = pd.read_csv(csv_path)
    assert frame.shape[0] == 6 and np.array_equal(frame["V_h [V]"], table)
    assert frame.groupby("temperature [K]")["V_h [V]"].mean().size == 2
print("all good")
