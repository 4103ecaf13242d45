//! Single figures of a result, by name, for papers and slides.

use super::chart::Chart;
use super::contour::Polyline;
use super::curves;
use super::draw::{Anchor, Area, Drawing, Mark, Stroke};
use super::flow::flow_lines;
use super::ink::Ink;
use super::maps::{self, Map, QUANTITIES, Stored};
use super::outline::junctions;
use super::page::{self, case_of};
use super::section::{Frame, axes, section};
use super::units::si;
use crate::mesh::{Material, Mesh};
use crate::record::RunRecord;

/// Pixels of a map along its width.
const COLUMNS: usize = 1400;

/// Names that [`figure`] knows for this record.
pub fn names(record: &RunRecord) -> Vec<String> {
    let mut out = Vec::new();
    for k in 0..record.experiments.len() {
        if curves::of_outcome(record, k, "curve").is_some() {
            out.push(format!("curve-{k}"));
            out.push(format!("curve-{k}-linear"));
        }
    }
    out.extend(sheets(record).into_iter().map(|c| c.id));
    out.extend(["section".to_string(), "mesh".to_string()]);
    for p in maps::points(record) {
        for q in QUANTITIES {
            let doping = q.key == "net-doping";
            if !doping && Map::new(&record.mesh, p.fields, q).is_some() {
                out.push(map_name(&p, q.key));
            }
        }
    }
    if let Some(p) = maps::points(record).first()
        && Map::new(&record.mesh, p.fields, QUANTITIES[0]).is_some()
    {
        out.push("net-doping".to_string());
    }
    out
}

/// The charts of all named figures.
fn sheets(record: &RunRecord) -> Vec<Chart> {
    let of = |(id, title, sheet): (String, String, _)| curves::of_sheet(sheet, &title, &id);
    page::sheets(record).into_iter().flat_map(of).collect()
}

fn map_name(p: &Stored, key: &str) -> String {
    format!("{key}-{}-{}", p.experiment, p.label.replace(' ', "-"))
}

/// One figure by its name; `None` if this record has none of that name.
pub fn figure(record: &RunRecord, name: &str) -> Option<Drawing> {
    let mesh = &record.mesh;
    if mesh.nx() < 2 || mesh.ny() < 2 {
        return None;
    }
    let title = if record.title.is_empty() { &record.case_name } else { &record.title };
    match name {
        "section" | "mesh" => {
            let case = case_of(record);
            return Some(section(mesh, case.as_ref(), title, name == "mesh"));
        }
        _ => {}
    }
    if let Some(rest) = name.strip_prefix("curve-") {
        let (k, linear) = match rest.strip_suffix("-linear") {
            Some(k) => (k, true),
            None => (rest, false),
        };
        let chart = curves::of_outcome(record, k.parse().ok()?, "curve")?;
        return Some(chart.drawing(Some(!linear)));
    }
    if let Some(chart) = sheets(record).into_iter().find(|c| c.id == name) {
        return Some(chart.drawing(None));
    }
    let stored = maps::points(record);
    for p in &stored {
        for q in QUANTITIES {
            let wanted = match q.key {
                "net-doping" => name == "net-doping",
                key => name == map_name(p, key),
            };
            if wanted {
                let map = Map::new(mesh, p.fields, q)?;
                let doping = q.key == "net-doping";
                let flow = if doping { Vec::new() } else { flow_lines(mesh, p.fields) };
                let at = match doping {
                    true => title.clone(),
                    false => format!("at the {}", maps::describe(record, p)),
                };
                return Some(drawing(mesh, &map, &flow, &at));
            }
        }
    }
    None
}

/// A map with its scale, current lines, junctions and axes.
fn drawing(mesh: &Mesh, map: &Map, flow: &[Polyline], at: &str) -> Drawing {
    let q = map.span.quantity;
    let title = format!("{}, {at}", curves::capital(q.name));
    let about = format!(
        "Map of {} from {} to {}",
        q.name,
        si(map.value(0.0), q.unit),
        si(map.value(1.0), q.unit)
    );
    let frame = Frame::new(mesh, 54.0, 40.0, 888.0);
    let bottom = frame.area.y + frame.area.height;
    let mut d = Drawing::new(960.0, bottom + 96.0, &title, &about);
    let rows = (COLUMNS as f64 * frame.area.height / frame.area.width).round().max(1.0) as usize;
    let rgba = pixels(mesh, map, COLUMNS, rows);
    d.marks.push(Mark::Image { area: frame.area, columns: COLUMNS, rows, rgba });
    d.marks.push(Mark::Within(frame.area));
    let rim = Ink::Plain([40, 40, 46]);
    let white = Ink::Plain([255, 255, 255]);
    for (list, dash, width) in
        [(junctions(mesh), Some([4.0, 3.0]), 0.9), (flow.to_vec(), None, 0.9)]
    {
        let steps = frame.steps(&list);
        if !steps.is_empty() {
            let stroke = Some(Stroke { ink: rim, width: width + 1.2, dash: None });
            let opacity = 0.45;
            d.marks.push(Mark::Path { steps: steps.clone(), fill: None, stroke, opacity });
            d.path(steps, Stroke { ink: white, width, dash });
        }
    }
    d.marks.push(Mark::Whole);
    d.frame(frame.area, Ink::Quiet, 0.8);
    d.text(frame.area.x, 24.0, 15.0, Anchor::Start, Ink::Text, &title);
    if let Some(t) = d.last_text() {
        t.bold = true;
    }
    axes(&mut d, &frame);
    bar(&mut d, map, Area { x: 54.0, y: bottom + 50.0, width: 888.0, height: 14.0 });
    d
}

fn bar(d: &mut Drawing, map: &Map, area: Area) {
    let rgba = map.ramp().iter().flat_map(|c| [c[0], c[1], c[2], 255]).collect();
    d.marks.push(Mark::Image { area, columns: 256, rows: 1, rgba });
    d.frame(area, Ink::Quiet, 0.6);
    for k in 0..=4 {
        let share = f64::from(k) / 4.0;
        let anchor = match k {
            0 => Anchor::Start,
            4 => Anchor::End,
            _ => Anchor::Middle,
        };
        let text = si(map.value(share), map.span.quantity.unit);
        d.text(area.x + share * area.width, area.y + 30.0, 11.0, anchor, Ink::Quiet, &text);
    }
}

/// Every pixel interpolated between the four mesh points around it, in the map's shares.
fn pixels(mesh: &Mesh, map: &Map, columns: usize, rows: usize) -> Vec<u8> {
    let ramp = map.ramp();
    let oxide = Ink::Oxide.rgb();
    let (nx, x, y) = (mesh.nx(), &mesh.x, &mesh.y);
    let depth = y[mesh.ny() - 1];
    let locate = |list: &[f64], v: f64| {
        let k = list.partition_point(|l| *l <= v).clamp(1, list.len() - 1) - 1;
        (k, ((v - list[k]) / (list[k + 1] - list[k])).clamp(0.0, 1.0))
    };
    let across: Vec<(usize, f64)> = (0..columns)
        .map(|c| locate(x, x[0] + (c as f64 + 0.5) / columns as f64 * (x[nx - 1] - x[0])))
        .collect();
    let mut out = Vec::with_capacity(4 * columns * rows);
    for r in 0..rows {
        let (j, fy) = locate(y, (r as f64 + 0.5) / rows as f64 * depth);
        for &(i, fx) in &across {
            let cell = mesh.cell(i, j);
            let s = |a: usize, b: usize| map.shares[(j + b) * nx + i + a];
            let share = (s(0, 0) * (1.0 - fx) + s(1, 0) * fx) * (1.0 - fy)
                + (s(0, 1) * (1.0 - fx) + s(1, 1) * fx) * fy;
            let [red, green, blue] = match cell {
                Material::Oxide if map.span.quantity.silicon => oxide,
                Material::Void => [255; 3],
                _ if share.is_finite() => ramp[(share.clamp(0.0, 1.0) * 255.0).round() as usize],
                _ => [255; 3],
            };
            out.extend([red, green, blue, 255]);
        }
    }
    out
}
