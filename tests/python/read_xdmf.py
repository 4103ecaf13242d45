"""Opens an XDMF sidecar with VTK's reader and compares it with the HDF5 file.

    python3 tests/python/read_xdmf.py RESULT.xmf RESULT.h5
"""
import sys

import h5py
import numpy
import vtk
from vtk.util.numpy_support import vtk_to_numpy


def main(sidecar, result):
    reader = vtk.vtkXdmfReader()
    reader.SetFileName(sidecar)
    reader.UpdateInformation()
    key = vtk.vtkStreamingDemandDrivenPipeline.TIME_STEPS()
    times = reader.GetOutputInformation(0).Get(key)
    with h5py.File(result, "r") as f:
        x, y = f["x"][()], f["y"][()]
        stored = [(k, n) for k in sorted(f["experiment"], key=int)
                  for n in sorted((n for n in f["experiment"][k]["fields"] if n.isdigit()), key=int)]
        assert len(times) == len(stored), (times, stored)
        for time, (k, n) in enumerate(stored):
            reader.UpdateTimeStep(float(time))
            grid = reader.GetOutputDataObject(0)
            assert grid.IsA("vtkRectilinearGrid"), type(grid)
            assert grid.GetDimensions() == (len(x), len(y), 1), grid.GetDimensions()
            assert numpy.array_equal(vtk_to_numpy(grid.GetXCoordinates()), x)
            assert numpy.array_equal(vtk_to_numpy(grid.GetYCoordinates()), -y)
            fields = f["experiment"][k]["fields"][n]
            for name, shown in (("potential", "potential [V]"), ("holes", "holes [cm^-3]"),
                                ("avalanche", "avalanche generation [cm^-3 s^-1]")):
                seen = vtk_to_numpy(grid.GetPointData().GetArray(shown)).reshape(len(y), len(x))
                assert numpy.array_equal(seen, fields[name][()], equal_nan=True), (k, n, name)
            cells = vtk_to_numpy(grid.GetCellData().GetArray("material"))
            assert numpy.array_equal(cells.reshape(len(y) - 1, -1), f["mesh/material"][()])
    print(f"all good: {len(times)} steps")


main(*sys.argv[1:])
