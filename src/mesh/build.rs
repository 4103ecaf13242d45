//! Chooses the lines: given ones as they are, others from features and node budget.

use super::features::{DEFAULT_FINEST, Features};
use super::junction::{Axis, Junction};
use super::lines::{Band, Fineness};
use super::refine::Lines;
use super::{Mesh, given, isolation, quality, sample};
use crate::case::{Case, Problem};
use crate::structure::Structure;

const DEFAULT_NODES: usize = 8000;
const DEFAULT_GROWTH: f64 = 1.35;
/// Intervals that must lie around each junction.
const LEAST_AROUND: f64 = 4.0;
/// An interval around the edge of a diffusion counts this many times.
const EDGE_CREDIT: f64 = 6.0;
/// A mesh with this part of the budget is good enough.
const FULL: f64 = 0.97;
/// Bisections of the scale.
const ROUNDS: usize = 14;
/// Scales tried lie between these.
const SCALES: (f64, f64) = (1.0 / 512.0, 512.0);

/// The node budget in force; `None` if both axes are given and no budget is.
pub(super) fn budget_of(case: &Case) -> Option<usize> {
    let grid = &case.grid;
    match grid.nodes {
        Some(n) => Some(n),
        None if grid.x.is_some() && grid.y.is_some() => None,
        None => Some(DEFAULT_NODES),
    }
}

/// Builds the mesh of a case; warnings come with it.
///
/// # Errors
/// `budget-too-small`, `grid` (impossible finest or growth), `grid-lines` (given lines
/// that miss an end), `no-node` (a terminal without a node), `shared-node`,
/// `growth-too-small`.
pub fn build(case: &Case, structure: &Structure) -> Result<(Mesh, Vec<Problem>), Vec<Problem>> {
    let growth = case.grid.growth.unwrap_or(DEFAULT_GROWTH);
    let finest = case.grid.finest.unwrap_or(DEFAULT_FINEST);
    let mut problems = Vec::new();
    if !(growth > 1.0 && growth <= 10.0) {
        problems.push(
            grid_error(case, format!("growth {growth} is no ratio of growing intervals"))
                .help("between 1.05 and 2; 1.35 is the default"),
        );
    }
    if !(finest > 0.0 && finest < structure.span.min(structure.thickness)) {
        problems.push(
            grid_error(case, format!("finest {finest} µm is no interval of this cut"))
                .help("above 0, below the span and the thickness"),
        );
    }
    let given_x = case.grid.x.as_deref().map(|l| given::x_lines(case, structure, l, &mut problems));
    let given_y = case.grid.y.as_deref().map(|l| given::y_lines(case, structure, l, &mut problems));
    if crate::structure::has_error(&problems) {
        return Err(problems);
    }
    let (x, y) = match (given_x, given_y) {
        (Some(x), Some(y)) => {
            let nodes = sample::count_nodes(structure, &x, &y);
            if let Some(budget) = case.grid.nodes.filter(|b| nodes > *b) {
                problems.push(Problem::warning(
                    "budget-exceeded",
                    Some(case.grid.at.clone()),
                    format!("the given lines make {nodes} nodes, more than the budget of {budget}"),
                ));
            }
            (x, y)
        }
        (given_x, given_y) => {
            let budget = budget_of(case).unwrap_or(DEFAULT_NODES);
            let search = Search {
                structure,
                features: Features::new(case, structure),
                given_x,
                given_y,
                growth,
            };
            match search.within(budget) {
                Ok(lines) => lines,
                Err(refusal) => {
                    problems.push(refusal.problem(case, structure, budget, growth));
                    return Err(problems);
                }
            }
        }
    };
    match sample::assemble(case, structure, x, y) {
        Ok(mesh) => match isolation::joined(case, &mesh) {
            None => Ok((mesh, problems)),
            Some(problem) => {
                problems.push(problem);
                Err(problems)
            }
        },
        Err(more) => {
            problems.extend(more);
            Err(problems)
        }
    }
}

fn grid_error(case: &Case, text: String) -> Problem {
    Problem::error("grid", Some(case.grid.at.clone()), text)
}

type Pair = (Vec<f64>, Vec<f64>);

/// Lines with the same node budget whose spacing follows `wished`: one size \[µm\] for each
/// interval of `lines`. Kept lines, growth bound and lines that the case gives stay; one
/// common factor on the sizes spends the budget. Shallow junctions may be resolved by less
/// than a mesh of the structure must have: that is what the sizes are for.
///
/// # Errors
/// `grid`, if no lines within the budget keep the growth bound.
pub fn regraded(
    case: &Case,
    structure: &Structure,
    lines: &Lines,
    wished: &Lines,
) -> Result<Lines, Vec<Problem>> {
    let growth = case.grid.growth.unwrap_or(DEFAULT_GROWTH);
    let finest = case.grid.finest.unwrap_or(DEFAULT_FINEST);
    let mut features = Features::new(case, structure);
    features.junctions.clear();
    let bands = |own: &[Band], lines: &[f64], sizes: &[f64]| -> Vec<Band> {
        let pairs = lines.windows(2).zip(sizes);
        let band = |(w, h): (&[f64], &f64)| {
            // Inside a gate's oxide the wishes may be finer than elsewhere.
            let floor = if w[1] <= 0.0 { 0.0 } else { finest };
            Band { a: w[0], b: w[1], h: *h, floor, edge: false }
        };
        // Wishes that do not scale are those that every mesh must meet.
        let firm = own.iter().filter(|b| b.h == 0.0);
        pairs.map(band).chain(firm.copied()).collect()
    };
    features.x.bands = bands(&features.x.bands, &lines.x, &wished.x);
    features.y.bands = bands(&features.y.bands, &lines.y, &wished.y);
    let given = |own: &Option<Vec<f64>>, lines: &[f64]| own.as_ref().map(|_| lines.to_vec());
    let search = Search {
        structure,
        features,
        given_x: given(&case.grid.x, &lines.x),
        given_y: given(&case.grid.y, &lines.y),
        growth,
    };
    match search.within(budget_of(case).unwrap_or(DEFAULT_NODES)) {
        Ok((x, y)) => Ok(Lines { x, y }),
        Err(_) => {
            let text = "no lines within the budget follow the solution and keep the growth bound";
            Err(vec![grid_error(case, text.to_string())])
        }
    }
}

/// Looks for the common scale that spends the budget.
struct Search<'a> {
    structure: &'a Structure,
    features: Features,
    given_x: Option<Vec<f64>>,
    given_y: Option<Vec<f64>>,
    growth: f64,
}

/// Why no lines were found.
enum Refusal {
    /// Lines that would do, if known, and the junction that asks for them.
    TooSmall(Option<Pair>, Option<Junction>),
    Growth,
}

impl Search<'_> {
    fn x_lines(&self, scale: f64) -> Option<Vec<f64>> {
        let fine = Fineness { scale, growth: self.growth };
        self.given_x.clone().or_else(|| self.features.x.lines(fine))
    }

    fn y_lines(&self, scale: f64) -> Option<Vec<f64>> {
        let fine = Fineness { scale, growth: self.growth };
        self.given_y.clone().or_else(|| self.features.y.lines(fine))
    }

    fn lines(&self, scale: f64) -> Option<Pair> {
        Some((self.x_lines(scale)?, self.y_lines(scale)?))
    }

    fn count(&self, lines: &Pair) -> usize {
        sample::count_nodes(self.structure, &lines.0, &lines.1)
    }

    /// The finest lines with at most `budget` nodes that resolve every junction.
    fn within(&self, budget: usize) -> Result<Pair, Refusal> {
        let fits = |scale: f64| self.lines(scale).is_some_and(|l| self.count(&l) <= budget);
        let mut coarse = 1.0;
        while !fits(coarse) {
            coarse *= 2.0;
            if coarse > SCALES.1 {
                return Err(self.needed());
            }
        }
        while coarse > SCALES.0 && fits(0.5 * coarse) {
            coarse *= 0.5;
        }
        let mut best = None;
        self.keep_fuller(&mut best, self.lines(coarse), budget);
        self.fill(&mut best, coarse, 0.5, budget, &|scale| self.lines(scale));
        if best.is_none() {
            // Near the limit a slightly coarser scale may happen to do.
            match self.needed() {
                Refusal::TooSmall(Some(enough), _) if self.count(&enough) <= budget => {
                    best = Some(enough);
                }
                refusal => return Err(refusal),
            }
        }
        // Fixed lines make the count jump: what a common scale leaves over goes to one
        // axis, y first.
        if let Some((x, _)) = best.clone() {
            let only_y = |scale| Some((x.clone(), self.y_lines(scale)?));
            self.fill(&mut best, 2.0 * coarse, 0.1, budget, &only_y);
        }
        if let Some((_, y)) = best.clone() {
            let only_x = |scale| Some((self.x_lines(scale)?, y.clone()));
            self.fill(&mut best, 2.0 * coarse, 0.1, budget, &only_x);
        }
        best.ok_or(Refusal::TooSmall(None, None))
    }

    /// Bisects between `coarse`, a scale that fits, and a part of it that is too fine.
    fn fill(
        &self,
        best: &mut Option<Pair>,
        mut coarse: f64,
        part: f64,
        budget: usize,
        lines: &dyn Fn(f64) -> Option<Pair>,
    ) {
        let mut fine = part * coarse;
        for _ in 0..ROUNDS {
            if best.as_ref().is_some_and(|l| self.count(l) as f64 >= FULL * budget as f64) {
                return;
            }
            let mid = (fine * coarse).sqrt();
            match lines(mid) {
                Some(lines) if self.count(&lines) <= budget => {
                    self.keep_fuller(best, Some(lines), budget);
                    coarse = mid;
                }
                _ => fine = mid,
            }
        }
    }

    /// Keeps lines that fit, resolve the junctions and are more than those so far.
    fn keep_fuller(&self, best: &mut Option<Pair>, lines: Option<Pair>, budget: usize) {
        let Some(lines) = lines else { return };
        let count = self.count(&lines);
        let so_far = best.as_ref().map_or(0, |l| self.count(l));
        if count <= budget && count > so_far && self.worst(&lines).is_none() {
            *best = Some(lines);
        }
    }

    /// The junction with the fewest intervals around it, if that is too few; given axes
    /// are the user's own business.
    fn worst(&self, lines: &Pair) -> Option<&Junction> {
        self.features
            .junctions
            .iter()
            .filter_map(|j| {
                let (own, given) = match j.axis {
                    Axis::X => (&lines.0, &self.given_x),
                    Axis::Y => (&lines.1, &self.given_y),
                };
                given.is_none().then(|| (j, quality::around(own, j)))
            })
            // The many edges of diffusions need only be seen.
            .map(|(j, n)| (j, if j.axis == Axis::X && !j.deep { EDGE_CREDIT * n } else { n }))
            .filter(|(_, n)| *n < LEAST_AROUND)
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(j, _)| j)
    }

    /// The coarsest lines that resolve every junction.
    fn needed(&self) -> Refusal {
        let mut scale = 16.0;
        let mut asks = None;
        let mut any = false;
        while scale > 1.0 / 16.0 {
            if let Some(lines) = self.lines(scale) {
                any = true;
                match self.worst(&lines) {
                    None => return Refusal::TooSmall(Some(lines), asks),
                    Some(j) => asks = Some(j.clone()),
                }
            }
            scale *= 0.85;
        }
        if any { Refusal::TooSmall(None, asks) } else { Refusal::Growth }
    }
}

impl Refusal {
    fn problem(self, case: &Case, structure: &Structure, budget: usize, growth: f64) -> Problem {
        match self {
            Refusal::Growth => Problem::error(
                "growth-too-small",
                Some(case.grid.at.clone()),
                format!("no lines keep neighbouring intervals within a ratio of {growth}"),
            )
            .help("raise `growth`, or move edges that nearly coincide onto each other"),
            Refusal::TooSmall(enough, asks) => {
                let needed = enough.map(|(x, y)| sample::count_nodes(structure, &x, &y));
                let why = asks.map_or(String::new(), |j| {
                    let axis = if j.axis == Axis::X { "x" } else { "y" };
                    format!("; the junction {} at {axis} = {:.3} µm asks for most", j.name, j.at)
                });
                let at_least = needed.map_or("more".to_string(), |n| format!("about {n}"));
                Problem::error(
                    "budget-too-small",
                    Some(case.grid.at.clone()),
                    format!(
                        "{budget} nodes cannot put {LEAST_AROUND:.0} intervals around every junction: {at_least} are needed{why}"
                    ),
                )
                .label("this budget")
                .help(match needed {
                    // A round figure above what was found.
                    Some(n) => format!("nodes = {}", (n as f64 * 1.05 / 50.0).ceil() * 50.0),
                    None => "raise `nodes`, lower `finest`".to_string(),
                })
            }
        }
    }
}
