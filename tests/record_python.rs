//! Other programs open a result: h5py, xarray with both of its engines, netCDF4.

mod record_support;

use std::process::Command;

const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/python/read_result.py");

#[test]
fn h5py_xarray_and_netcdf4_read_a_result() {
    let there = Command::new("python3")
        .args(["-c", "import h5py, h5netcdf, netCDF4, xarray"])
        .output()
        .is_ok_and(|o| o.status.success());
    if !there {
        println!("skipped: python3 with h5py, h5netcdf, netCDF4 and xarray is not here");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("r.h5");
    holdpoint::record::write(&path, &record_support::rich()).unwrap();
    let out = Command::new("python3").arg(SCRIPT).arg(&path).output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.success(), "{said}\n{}", String::from_utf8_lossy(&out.stderr));
    println!("{said}");
    assert!(said.contains("all good"), "{said}");
}
