//! Maps as the page's script draws them: the points of one result, or of several on common
//! scales, within a bound of bytes.

use serde_json::{Value, json};

use super::Item;
use super::contour::Polyline;
use super::escape::{base64, markup};
use super::flow::flow_lines;
use super::maps::{self, Map, QUANTITIES, Quantity, Span, Stored, Tone, describe, known};
use super::outline::{Spot, contacts, junctions};
use crate::mesh::Mesh;
use crate::record::RunRecord;

/// Characters that the maps of several results take together, so that a page stays below
/// five million.
const MOST: usize = 3_600_000;

/// Points and quantities of several results in the order in which they are worth their bytes.
const WORTH: [&str; 4] = ["holding", "critical", "end", "trigger"];
const FIRST: [&str; 4] = ["net-doping", "hole-current", "electron-current", "potential"];

/// All maps of one result, each on a scale of its own.
pub fn of_one(record: &RunRecord, stored: &[Stored]) -> Value {
    let mut used = Vec::new();
    let points = stored.iter().enumerate().map(|(n, p)| {
        let mut maps = serde_json::Map::new();
        // Doping is the same at every point: it stands with the first.
        for q in QUANTITIES.iter().filter(|q| n == 0 || q.key != "net-doping") {
            if let Some(map) = Map::new(&record.mesh, p.fields, *q) {
                maps.insert(q.key.to_string(), map.json());
                used.push(q.key);
            }
        }
        point(record, p, 0, "", maps)
    });
    let points: Vec<Value> = points.collect();
    let start = stored.iter().position(|p| p.label == "holding").unwrap_or(0);
    set(vec![ground(&record.mesh)], points, &used, start)
}

/// A point whose maps could be shown.
struct Candidate<'a> {
    item: usize,
    /// What it is compared with in the other results: experiment's kind and point.
    group: String,
    stored: &'a Stored<'a>,
}

/// Maps of several results; those of one quantity at corresponding points have a common
/// scale. `None` if there are no fields. The second value counts what was left out for want
/// of room.
pub fn of_several(items: &[Item]) -> Option<(Value, usize)> {
    let stored: Vec<Vec<Stored>> = items
        .iter()
        .map(|i| match i.record.mesh.nx() > 1 && i.record.mesh.ny() > 1 {
            true => maps::points(&i.record),
            false => Vec::new(),
        })
        .collect();
    let mut all = candidates(items, &stored);
    // Corresponding points stand together, the most telling first.
    let rank = |c: &Candidate| WORTH.iter().position(|w| *w == c.stored.label);
    let order: Vec<String> = all.iter().map(|c| c.group.clone()).collect();
    let first = |c: &Candidate| order.iter().position(|g| *g == c.group);
    all.sort_by_key(|c| (rank(c).unwrap_or(WORTH.len()), first(c), c.item));
    let mut chosen: Vec<serde_json::Map<String, Value>> = vec![Default::default(); all.len()];
    let (mut room, mut left_out, mut used) = (MOST, 0, Vec::new());
    let early = |q: &&Quantity| FIRST.contains(&q.key);
    let (first, rest): (Vec<&Quantity>, Vec<&Quantity>) = QUANTITIES.iter().partition(early);
    for list in [first, rest] {
        for from in groups(&all) {
            for q in &list {
                let (taken, dropped) = common(items, &all, from.clone(), q, &mut room);
                left_out += dropped;
                for (k, map) in taken {
                    used.push(q.key);
                    chosen[k].insert(q.key.to_string(), map.json());
                }
            }
        }
    }
    let points: Vec<Value> = all
        .iter()
        .zip(chosen)
        .filter(|(_, maps)| maps.keys().any(|k| k != "net-doping"))
        .map(|(c, maps)| {
            let item = &items[c.item];
            point(&item.record, c.stored, c.item, &item.name, maps)
        })
        .collect();
    let meshes = items.iter().map(|i| ground(&i.record.mesh)).collect();
    (!points.is_empty()).then(|| (set(meshes, points, &used, 0), left_out))
}

fn candidates<'a>(items: &[Item], stored: &'a [Vec<Stored<'a>>]) -> Vec<Candidate<'a>> {
    let of = |(item, list): (usize, &'a Vec<Stored<'a>>)| {
        let outcomes = &items[item].record.experiments;
        let named = move |s: &'a Stored<'a>| {
            let key = super::compare::key_of(outcomes, s.experiment);
            Candidate { item, group: format!("{} of {key}", s.label), stored: s }
        };
        list.iter().map(named).collect::<Vec<_>>()
    };
    stored.iter().enumerate().flat_map(of).collect()
}

/// Runs of candidates that are compared with each other.
fn groups(all: &[Candidate]) -> Vec<std::ops::Range<usize>> {
    let mut out: Vec<std::ops::Range<usize>> = Vec::new();
    for k in 0..all.len() {
        match out.last_mut() {
            Some(last) if all[last.start].group == all[k].group => last.end = k + 1,
            _ => out.push(k..k + 1),
        }
    }
    out
}

/// One quantity of corresponding points on a common scale, as far as there is room: the
/// index of each candidate with its map, and how many found none.
fn common(
    items: &[Item],
    all: &[Candidate],
    from: std::ops::Range<usize>,
    q: &Quantity,
    room: &mut usize,
) -> (Vec<(usize, Map)>, usize) {
    let mut values = Vec::new();
    let mut dropped = 0;
    for k in from {
        let c = &all[k];
        // Doping is the same at every point: it stands with the first of each result.
        if q.key == "net-doping" && all[..k].iter().any(|o| o.item == c.item) {
            continue;
        }
        let mesh = &items[c.item].record.mesh;
        let Some(v) = known(mesh, c.stored.fields, *q) else { continue };
        // Two bytes a value, and a third more as base64.
        let size = v.len() * 8 / 3;
        if size > *room {
            dropped += 1;
            continue;
        }
        *room -= size;
        values.push((k, v));
    }
    let lists: Vec<&[f64]> = values.iter().map(|(_, v)| v.as_slice()).collect();
    let Some(span) = Span::over(*q, &lists) else { return (Vec::new(), dropped) };
    (values.iter().map(|(k, v)| (*k, Map::on(span, v))).collect(), dropped)
}

fn point(
    record: &RunRecord,
    p: &Stored,
    mesh: usize,
    of: &str,
    maps: serde_json::Map<String, Value>,
) -> Value {
    let key = super::compare::key_of(&record.experiments, p.experiment);
    json!({
        "label": describe(record, p), "of": of, "mesh": mesh, "maps": maps,
        "group": format!("{} of {key}", p.label),
        "flow": flat(&flow_lines(&record.mesh, p.fields)),
    })
}

/// What the points of a result have in common.
fn ground(mesh: &Mesh) -> Value {
    let cells: Vec<u8> = mesh.cells.iter().map(|c| *c as u8).collect();
    json!({
        "x": mesh.x, "y": mesh.y, "material": base64(&cells),
        "junctions": flat(&junctions(mesh)), "contacts": spots(mesh),
    })
}

fn set(meshes: Vec<Value>, points: Vec<Value>, used: &[&str], start: usize) -> Value {
    let quantities: Vec<Value> =
        QUANTITIES.iter().filter(|q| used.contains(&q.key)).map(quantity_json).collect();
    json!({"meshes": meshes, "points": points, "quantities": quantities, "start": start})
}

fn quantity_json(q: &Quantity) -> Value {
    let (scale, ramp) = match q.tone {
        Tone::Linear => ("linear", "magnitude"),
        Tone::Log(_) => ("log", "magnitude"),
        Tone::Signed(_) => ("signed", "signed"),
    };
    json!({
        "key": q.key, "name": q.name, "unit": q.unit, "scale": scale, "ramp": ramp,
        "silicon": q.silicon,
    })
}

/// Lines as lists x, y, x, y, … in µm, to 0.1 nm.
fn flat(lines: &[Polyline]) -> Value {
    let short = |v: &f64| (v * 1e4).round() / 1e4;
    let list: Vec<Vec<f64>> =
        lines.iter().map(|l| l.iter().flatten().map(short).collect()).collect();
    json!(list)
}

fn spots(mesh: &Mesh) -> Value {
    let mut out = Vec::new();
    for c in contacts(mesh) {
        for spot in &c.spots {
            match spot {
                Spot::Surface { from, to } => {
                    out.push(json!({"name": c.name, "from": from, "to": to, "gate": false}));
                }
                Spot::Gate { from, to, .. } => {
                    out.push(json!({"name": c.name, "from": from, "to": to, "gate": true}));
                }
                _ => {}
            }
        }
    }
    out.sort_by(|a, b| {
        a["from"].as_f64().unwrap_or(0.0).total_cmp(&b["from"].as_f64().unwrap_or(0.0))
    });
    Value::Array(out)
}

/// The viewer of maps with its contact sheet.
pub fn figure(set: &Value, number: usize) -> String {
    let quantities = set["quantities"].as_array().cloned().unwrap_or_default();
    let text = |q: &Value, key: &str| q[key].as_str().unwrap_or_default().to_string();
    let head: String = quantities
        .iter()
        .map(|q| format!("<th scope=\"col\">{}</th>", markup(&text(q, "name"))))
        .collect();
    let several = set["meshes"].as_array().is_some_and(|m| m.len() > 1);
    let rows: String = set["points"]
        .as_array()
        .into_iter()
        .flatten()
        .enumerate()
        .map(|(p, point)| {
            let name = match several {
                true => format!("{}: {}", text(point, "of"), text(point, "label")),
                false => text(point, "label"),
            };
            let cells: String = quantities
                .iter()
                .map(|q| {
                    let key = text(q, "key");
                    if point["maps"].get(&key).is_none() {
                        return "<td></td>".to_string();
                    }
                    let label = markup(&format!("{} at {name}", text(q, "name")));
                    format!(
                        "<td><button type=\"button\" data-point=\"{p}\" data-key=\"{}\" \
                         aria-pressed=\"false\" aria-label=\"Show {label}\" title=\"{label}\">\
                         <canvas></canvas></button></td>",
                        markup(&key)
                    )
                })
                .collect();
            format!("<tr><th scope=\"row\">{}</th>{cells}</tr>", markup(&name))
        })
        .collect();
    let twins = match several {
        true => "<div class=\"twins\" role=\"group\" aria-label=\"Result shown\"></div>",
        false => "<span></span>",
    };
    format!(
        "<figure data-maps=\"{number}\" aria-label=\"Maps of fields\"><figcaption><b class=\"what\"></b><br>On the true mesh. \
         Between two white current lines flows a sixteenth of the total current, broken lines are \
         junctions. <span class=\"screen\">Point at the map, or focus it and use the arrow keys; \
         drag to move, + and − to zoom.</span></figcaption><div class=\"bar-top\">{twins}<div class=\"tools\"></div></div>\
         <div><canvas class=\"map\" role=\"img\" tabindex=\"0\" aria-label=\"Map\"></canvas></div>\
         <div class=\"scale\"><canvas class=\"bar\" aria-hidden=\"true\"></canvas>\
         <div class=\"marks\"></div></div><output aria-live=\"polite\" data-hint=\"Values at a \
         place are read here.\"></output><div class=\"sheet wide\"><table><thead><tr><th></th>{head}\
         </tr></thead><tbody>{rows}</tbody></table></div></figure>"
    )
}
