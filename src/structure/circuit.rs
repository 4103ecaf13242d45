//! The cross-section read as a circuit before meshing: which terminals are joined by
//! silicon of one polarity, and where that silicon is weakest.

use super::regions::{Join, Sampled, joins};
use super::{SampleLines, Structure};
use crate::case::{Case, Polarity, Problem, Role, Terminal, Touch};

/// Samples a region needs before it is worth a word.
const LEAST_SAMPLES: usize = 12;
/// A region whose strongest doping [cm⁻³] is below this is not an island.
const LEAST_DOPING: f64 = 1e14;
/// Part of a terminal piece that must be of the other polarity to call it butted.
const LEAST_BUTTED: f64 = 0.02;

/// All problems of the cross-section as a circuit.
pub(super) fn check(case: &Case, structure: &Structure) -> Vec<Problem> {
    let mut problems = Vec::new();
    for gate in structure.gates() {
        if structure.surface_silicon(gate.from, gate.to) <= 0.0 {
            problems.push(
                Problem::error(
                    "gate-over-no-silicon",
                    Some(gate.at.clone()),
                    format!(
                        "gate `{}` from {} to {} µm lies over no silicon",
                        gate.name, gate.from, gate.to
                    ),
                )
                .help("move it off the trench, into the span"),
            );
        }
    }
    let sampled = Sampled::new(structure, SampleLines::new(case, structure));
    let contacts: Vec<Contact> = case
        .terminals
        .iter()
        .map(|t| Contact::new(t, structure, &sampled, &mut problems))
        .collect();
    shorts(case, &sampled, &contacts, &mut problems);
    floating(structure, &sampled, &contacts, &mut problems);
    problems
}

/// The samples that a terminal touches, by polarity.
struct Contact {
    /// Donors first.
    cells: [Vec<u32>; 2],
    /// Index into `cells` of the polarity that the role is about.
    own: usize,
    /// Must be an island.
    island: bool,
}

impl Contact {
    fn new(
        terminal: &Terminal,
        structure: &Structure,
        sampled: &Sampled,
        problems: &mut Vec<Problem>,
    ) -> Contact {
        let mut cells = [Vec::new(), Vec::new()];
        let mut weight = [0.0, 0.0];
        let mut on_silicon = 0;
        for touch in &terminal.touches {
            let under = cells_under(touch, sampled);
            let mut length = [0.0, 0.0];
            for (cell, part) in &under {
                let net = sampled.net[*cell as usize];
                let Some(side) = side_of(net) else { continue };
                cells[side].push(*cell);
                length[side] += part;
                weight[side] += part * net.abs();
            }
            if under.is_empty() {
                continue;
            }
            on_silicon += 1;
            let total = length[0] + length[1];
            if total > 0.0 && length[0].min(length[1]) > LEAST_BUTTED * total {
                problems.push(
                    Problem::warning(
                        "butted",
                        Some(terminal.at.clone()),
                        format!(
                            "terminal `{}` {} touches n-type ({:.0} %) and p-type silicon: it shorts that junction",
                            terminal.name,
                            place_of(touch),
                            100.0 * length[0] / total
                        ),
                    )
                    .help("right for a butted tap; otherwise keep it inside one diffusion"),
                );
            }
        }
        if on_silicon < terminal.touches.len() {
            let none = on_silicon == 0;
            let make = if none { Problem::error } else { Problem::warning };
            let what = if none { "touches" } else { "has a piece that touches" };
            let missing: Vec<String> = terminal
                .touches
                .iter()
                .filter(|t| cells_under(t, sampled).is_empty())
                .map(place_of)
                .collect();
            problems.push(
                make(
                    "touches-oxide-only",
                    Some(terminal.at.clone()),
                    format!(
                        "terminal `{}` {what} no silicon: {}",
                        terminal.name,
                        missing.join(", ")
                    ),
                )
                .help(match structure.trenches().first() {
                    Some(t) => format!("the first trench runs from {} to {} µm", t.from, t.to),
                    None => format!("the silicon runs from 0 to {} µm", structure.span),
                }),
            );
        }
        let strongest = usize::from(weight[1] > weight[0]);
        let own = match terminal.role {
            Role::Cathode if !cells[0].is_empty() => 0,
            Role::Anode if !cells[1].is_empty() => 1,
            _ => strongest,
        };
        let island = matches!(terminal.role, Role::Anode | Role::Cathode | Role::Drain);
        Contact { cells, own, island }
    }
}

fn side_of(net: f64) -> Option<usize> {
    if Sampled::polarity(net) == 0 { None } else { Some(usize::from(net < 0.0)) }
}

/// Silicon samples along a terminal piece with the length [µm] each stands for.
fn cells_under(touch: &Touch, sampled: &Sampled) -> Vec<(u32, f64)> {
    let (nx, ny) = (sampled.nx(), sampled.ny());
    let (x, y) = (&sampled.lines.x, &sampled.lines.y);
    let column =
        |i: usize| (0..ny).map(|j| ((j * nx + i) as u32, y[j + 1] - y[j])).collect::<Vec<_>>();
    let all = match touch {
        Touch::Surface { from, to } => (0..nx)
            .filter(|&i| {
                let mid = 0.5 * (x[i] + x[i + 1]);
                *from <= mid && mid <= *to
            })
            .map(|i| (i as u32, x[i + 1] - x[i]))
            .collect(),
        Touch::Side(crate::case::Side::Left) => column(0),
        Touch::Side(crate::case::Side::Right) => column(nx - 1),
        Touch::Side(crate::case::Side::Back) => {
            (0..nx).map(|i| (((ny - 1) * nx + i) as u32, x[i + 1] - x[i])).collect()
        }
    };
    all.into_iter().filter(|(c, _)| sampled.silicon[*c as usize]).collect()
}

fn place_of(touch: &Touch) -> String {
    match touch {
        Touch::Surface { from, to } => format!("from {from} to {to} µm"),
        Touch::Side(side) => format!("on the {} side", format!("{side:?}").to_lowercase()),
    }
}

fn shorts(case: &Case, sampled: &Sampled, contacts: &[Contact], problems: &mut Vec<Problem>) {
    for side in 0..2 {
        let touched: Vec<&[u32]> = contacts.iter().map(|c| c.cells[side].as_slice()).collect();
        let is_island: Vec<bool> = contacts.iter().map(|c| c.island && c.own == side).collect();
        for Join { one, other, cell } in joins(sampled, &touched, &is_island) {
            let (a, b) = (&case.terminals[one], &case.terminals[other]);
            let (x, y) = sampled.centre(cell);
            let net = sampled.net[cell as usize];
            let kind = if side == 0 { "n" } else { "p" };
            let between = if side == 0 { "acceptors" } else { "donors" };
            let mut problem = Problem::error(
                "short",
                Some(a.at.clone()),
                format!(
                    "`{}` and `{}` are joined by {kind}-type silicon; on the way its doping is weakest, {:.2e} cm⁻³, at x = {x:.3} µm, y = {y:.3} µm",
                    a.name,
                    b.name,
                    net.abs()
                ),
            )
            .label(format!("`{}` must be an island", a.name))
            .help(format!(
                "draw them further apart, or put {between} above {:.1e} cm⁻³ between them at that place",
                net.abs()
            ));
            if a.at != b.at {
                problem = problem.other(b.at.clone(), format!("`{}` is here", b.name));
            }
            problems.push(problem);
        }
    }
}

fn floating(
    structure: &Structure,
    sampled: &Sampled,
    contacts: &[Contact],
    problems: &mut Vec<Problem>,
) {
    let regions = sampled.regions();
    let mut reached = vec![false; regions.count];
    for cell in contacts.iter().flat_map(|c| c.cells.iter().flatten()) {
        if let Some(region) = regions.of(*cell) {
            reached[region] = true;
        }
    }
    // The strongest surface sample of each region that nothing reaches.
    let mut best: Vec<Option<u32>> = vec![None; regions.count];
    for cell in 0..sampled.nx() as u32 {
        if let Some(r) = regions.of(cell) {
            let stronger = best[r]
                .is_none_or(|b| sampled.net[cell as usize].abs() > sampled.net[b as usize].abs());
            if stronger {
                best[r] = Some(cell);
            }
        }
    }
    for (region, cell) in best.iter().enumerate() {
        let Some(cell) = *cell else { continue };
        let net = sampled.net[cell as usize];
        let whole = regions.size[region] == regions.size.iter().sum::<usize>();
        if reached[region]
            || whole
            || regions.size[region] < LEAST_SAMPLES
            || net.abs() < LEAST_DOPING
        {
            continue;
        }
        let (x, y) = sampled.centre(cell);
        let polarity = if net > 0.0 { Polarity::Donors } else { Polarity::Acceptors };
        let kind = if net > 0.0 { "n" } else { "p" };
        let piece = structure.strongest(polarity, x, y);
        let name = piece.map_or(String::new(), |p| format!(" (`{}`)", p.name));
        problems.push(
            Problem::warning(
                "floating",
                piece.and_then(|p| p.at.clone()),
                format!(
                    "no terminal reaches the {kind}-type region{name} at x = {x:.3} µm on the surface, {:.1e} cm⁻³ there",
                    net.abs()
                ),
            )
            .help("right for an inner layer of a stack; otherwise give it a terminal"),
        );
    }
}
