//! The XDMF sidecar of a result: a small XML file by which general-purpose viewers open the
//! fields in the HDF5 file on their rectilinear mesh. XDMF 2 as its documentation describes
//! it: `2DRectMesh`, `VXVY`, a temporal collection.

use super::RunRecord;
use super::markup::markup;

/// Datasets of a stored point: name in the file, name in the viewer.
const FIELDS: [(&str, &str); 12] = [
    ("potential", "potential [V]"),
    ("electron_level", "electron quasi-Fermi potential [V]"),
    ("hole_level", "hole quasi-Fermi potential [V]"),
    ("electrons", "electrons [cm^-3]"),
    ("holes", "holes [cm^-3]"),
    ("electron_current_x", "electron current x [A/cm^2]"),
    ("electron_current_y", "electron current down [A/cm^2]"),
    ("hole_current_x", "hole current x [A/cm^2]"),
    ("hole_current_y", "hole current down [A/cm^2]"),
    ("recombination", "net recombination [cm^-3 s^-1]"),
    ("avalanche", "avalanche generation [cm^-3 s^-1]"),
    ("temperature", "temperature [K]"),
];

/// The sidecar of a result whose HDF5 file is called `file`, seen from the sidecar's folder.
/// Each stored point is a time step, 0, 1, 2, … through all experiments, with its name;
/// without any there is one step with doping and materials. The y axis points up, the
/// surface at y = 0, lengths in µm.
pub fn xdmf(record: &RunRecord, file: &str) -> String {
    let (nx, ny) = (record.mesh.nx(), record.mesh.ny());
    let mut steps = Vec::new();
    for (k, o) in record.experiments.iter().enumerate() {
        for (n, f) in o.fields.iter().enumerate() {
            let name = format!("{k} {}: {}", o.kind, f.label);
            let heat = !f.state.temperature.is_empty();
            let fields: String = FIELDS
                .iter()
                .filter(|(set, _)| *set != "temperature" || heat)
                .map(|(set, shown)| {
                    let at = format!("/experiment/{k}/fields/{n}/{set}");
                    attribute(shown, "Node", &[ny, nx], file, &at, "Float", 8)
                })
                .collect();
            steps.push((name, fields));
        }
    }
    if steps.is_empty() {
        steps.push((record.case_name.clone(), String::new()));
    }
    let up: Vec<String> = record.mesh.y.iter().map(|y| format!("{:?}", -y)).collect();
    let grids: String = steps
        .iter()
        .enumerate()
        .map(|(time, (name, fields))| {
            format!(
                "   <Grid Name=\"{}\" GridType=\"Uniform\">\n    <Time Value=\"{time}\"/>\n    \
                 <Topology TopologyType=\"2DRectMesh\" Dimensions=\"{ny} {nx}\"/>\n    \
                 <Geometry GeometryType=\"VXVY\">\n{}     <DataItem Format=\"XML\" \
                 NumberType=\"Float\" Precision=\"8\" Dimensions=\"{ny}\">{}</DataItem>\n    \
                 </Geometry>\n{}{}{fields}   </Grid>\n",
                markup(name),
                item(&[nx], file, "/x", "Float", 8),
                up.join(" "),
                attribute("net doping [cm^-3]", "Node", &[ny, nx], file, "/doping/net", "Float", 8),
                attribute(
                    "material",
                    "Cell",
                    &[ny - 1, nx - 1],
                    file,
                    "/mesh/material",
                    "UChar",
                    1
                ),
            )
        })
        .collect();
    format!(
        "<?xml version=\"1.0\"?>\n<Xdmf Version=\"2.0\">\n <Domain>\n  <Grid Name=\"{}\" \
         GridType=\"Collection\" CollectionType=\"Temporal\">\n{grids}  </Grid>\n </Domain>\n</Xdmf>\n",
        markup(&record.case_name)
    )
}

fn attribute(
    name: &str,
    centre: &str,
    shape: &[usize],
    file: &str,
    at: &str,
    sort: &str,
    bytes: usize,
) -> String {
    format!(
        "    <Attribute Name=\"{name}\" AttributeType=\"Scalar\" Center=\"{centre}\">\n{}    \
         </Attribute>\n",
        item(shape, file, at, sort, bytes)
    )
}

fn item(shape: &[usize], file: &str, at: &str, sort: &str, bytes: usize) -> String {
    let shape: Vec<String> = shape.iter().map(usize::to_string).collect();
    format!(
        "     <DataItem Format=\"HDF\" NumberType=\"{sort}\" Precision=\"{bytes}\" \
         Dimensions=\"{}\">{}:{at}</DataItem>\n",
        shape.join(" "),
        markup(file)
    )
}
