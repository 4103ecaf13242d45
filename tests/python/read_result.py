"""Opens a result file with h5py, xarray and netCDF4 and checks dimensions and units.

    pip install h5py xarray h5netcdf netCDF4
    python3 tests/python/read_result.py results/tern180-pad.h5

Each reader runs in a process of its own: the three bring two HDF5 libraries along.
"""

import subprocess
import sys

UNITS = {
    "mesh/x": "um",
    "mesh/y": "um",
    "mesh/silicon_area": "um^2",
    "doping/donors": "cm^-3",
    "doping/net": "cm^-3",
    "equilibrium/potential": "V",
    "experiment/0/curve/voltage": "V",
    "experiment/0/curve/current": "A/um",
    "experiment/0/fields/0/electrons": "cm^-3",
    "experiment/0/fields/0/electron_current_x": "A/cm^2",
    "experiment/0/fields/0/recombination": "cm^-3 s^-1",
}
FIELDS = [name for name in UNITS if name.split("/")[0] in ("doping", "equilibrium") or "fields" in name]


def with_h5py(path):
    import h5py
    import numpy

    with h5py.File(path, "r") as f:
        assert f.attrs["schema"] == "holdpoint-result", f.attrs["schema"]
        assert list(f.attrs["schema_version"]) == [1, 2]
        present = [name for name in UNITS if name in f]
        assert len(present) == len(UNITS), sorted(set(UNITS) - set(present))
        for name in present:
            for key in ("units", "unit"):
                assert f[name].attrs[key] == UNITS[name], (name, f[name].attrs[key])
            assert f[name].attrs["long_name"]
        nx, ny = len(f["mesh/x"]), len(f["mesh/y"])
        void = f["mesh/node"][...] < 0
        for name in FIELDS:
            field = f[name]
            assert field.shape == (ny, nx), (name, field.shape)
            assert field.dims[0].keys() == ["y"] and field.dims[1].keys() == ["x"], name
            assert field.dims[1]["x"] == f["mesh/x"], name
            assert numpy.isnan(field[...][void]).all(), f"{name}: numbers in the void"
            assert field.compression == "gzip" and field.shuffle and field.fletcher32, name
        # Every array has a scale on every dimension: xarray then names all dimensions.
        def scaled(name, thing):
            if isinstance(thing, h5py.Dataset) and thing.shape and not thing.is_scale:
                for k in range(thing.ndim):
                    assert len(thing.dims[k]) == 1, f"{name}: dimension {k} has no scale"

        f.visititems(scaled)
        assert "[wafer]" in f.attrs["case_text"]
        experiment = f["experiment/0"]
        points = len(experiment["curve/voltage"])
        for terminal in experiment["terminal"].asstr()[...]:
            groups = [g for g in experiment["curve"].values() if g.attrs.get("name") == terminal]
            assert len(groups) == 1 and groups[0]["current"].shape == (points,), terminal
        print(f"h5py: {nx} x {ny} lines, {points} points")


def with_xarray(path, engine):
    import xarray

    tree = xarray.open_datatree(path, engine=engine)
    for name, unit in UNITS.items():
        assert tree[name].attrs["units"] == unit, (engine, name, tree[name].attrs)
    for name in FIELDS:
        assert tree[name].dims == ("y", "x"), (engine, name, tree[name].dims)
    curve = tree["experiment/0/curve"]
    assert curve["voltage"].dims == ("point",), curve["voltage"].dims
    assert curve["current"].notnull().all()
    for node in tree.subtree:
        for name, variable in node.variables.items():
            assert not any(d.startswith("phony") for d in variable.dims), (node.path, name)
            variable.load()
    fold = tree["experiment/0/folds"]
    assert fold["terminal_current"].dims == ("fold", "terminal"), fold["terminal_current"].dims
    with xarray.open_dataset(path, engine=engine, group="doping") as doping:
        assert doping["net"].dims == ("y", "x")
    print(f"xarray, {engine}: {sum(len(n.variables) for n in tree.subtree)} variables")


def with_netcdf4(path):
    import netCDF4

    with netCDF4.Dataset(path) as f:
        assert f["doping/net"].dimensions == ("y", "x")
        assert f["mesh"]["x"].units == "um"
        assert f.schema == "holdpoint-result"
        assert f["experiment/0/curve"]["voltage"].dimensions == ("point",)
    print("netCDF4: opened")


READERS = {
    "h5py": with_h5py,
    "h5netcdf": lambda path: with_xarray(path, "h5netcdf"),
    "netcdf4": lambda path: with_xarray(path, "netcdf4"),
    "netCDF4": with_netcdf4,
}


def main():
    if len(sys.argv) == 3:
        READERS[sys.argv[2]](sys.argv[1])
        return 0
    if len(sys.argv) != 2:
        print(__doc__)
        return 2
    for reader in READERS:
        done = subprocess.run([sys.executable, __file__, sys.argv[1], reader])
        if done.returncode:
            print(f"{reader}: failed")
            return 1
    print("all good")
    return 0


if __name__ == "__main__":
    sys.exit(main())
