//! From drawn pieces to doping terms: falloffs that follow from junction depths.

use super::doping::Term;
use super::profile::{Lateral, Vertical};
use crate::case::{Case, Depth, Piece, Polarity, Problem, Profile};

/// Rounds after which the junction depths count as irreconcilable.
const ROUNDS: usize = 400;

/// All doping terms of a case; problems are appended.
pub(super) fn resolve(case: &Case, problems: &mut Vec<Problem>) -> Vec<Term> {
    let mut terms: Vec<Term> = wafer_term(case).into_iter().collect();
    let first = terms.len();
    let pieces: Vec<&Piece> = case.wells.iter().chain(&case.diffusions).collect();
    for (k, piece) in pieces.iter().enumerate() {
        let term = piece_term(piece, k < case.wells.len());
        check_numbers(piece, &term, problems);
        terms.push(term);
    }
    if super::doping::has_error(problems) {
        return terms;
    }
    let wanted: Vec<(usize, f64)> = pieces
        .iter()
        .enumerate()
        .filter_map(|(k, p)| junction_of(&p.profile).map(|d| (k, d)))
        .collect();
    if wanted.is_empty() {
        return terms;
    }

    // Each piece's falloff depends on the others' doping at its junction: a fixed point.
    let mut change = f64::INFINITY;
    for round in 0..ROUNDS {
        change = 0.0;
        for &(k, depth) in &wanted {
            let Ok(new) = falloff_for(&terms, first + k, pieces[k], depth) else { continue };
            let old = falloff_of(&terms[first + k].vertical);
            // Half steps in the logarithm if plain steps do not settle.
            let next = if round < 60 { new } else { (old * new).sqrt() };
            change = change.max((next / old - 1.0).abs());
            set_falloff(&mut terms[first + k].vertical, next);
        }
        if change < 1e-14 {
            break;
        }
    }
    for &(k, depth) in &wanted {
        let piece = pieces[k];
        if let Err(why) = falloff_for(&terms, first + k, piece, depth) {
            problems.push(junction_problem(piece, depth, why));
        } else if !changes_sign(&terms, piece, depth) {
            problems.push(junction_problem(
                piece,
                depth,
                "the doping it meets there rises faster towards the surface than its own"
                    .to_string(),
            ));
        } else if change > 1e-9 {
            problems.push(junction_problem(
                piece,
                depth,
                "it depends on another junction_depth and no falloffs satisfy both".to_string(),
            ));
        }
    }
    terms
}

fn wafer_term(case: &Case) -> Option<Term> {
    let wafer = &case.wafer;
    let (polarity, peak, vertical) = match (&wafer.epi, wafer.doping) {
        (Some(epi), _) => {
            let peak = epi.doping.1.max(epi.handle);
            if peak <= 0.0 {
                return None;
            }
            let vertical = Vertical::Step {
                above: epi.doping.1 / peak,
                below: epi.handle / peak,
                at: epi.thickness,
                blur: epi.blur,
            };
            (epi.doping.0, peak, vertical)
        }
        (None, Some((polarity, density))) => (polarity, density, Vertical::Everywhere),
        (None, None) => return None,
    };
    Some(Term {
        name: "wafer".to_string(),
        polarity,
        peak,
        lateral: Lateral::Everywhere,
        vertical,
        deep: true,
        at: Some(wafer.at.clone()),
    })
}

fn piece_term(piece: &Piece, deep: bool) -> Term {
    // A third of the depth is where a typical Gaussian has fallen to 1e-4: only a start.
    let start = |crest: f64, depth: Depth| match depth {
        Depth::Falloff(f) => f,
        Depth::Junction(d) => ((d - crest) / 3.0).max(1e-6),
    };
    let vertical = match &piece.profile {
        Profile::Gaussian { crest, depth } => {
            Vertical::Gaussian { crest: *crest, falloff: start(*crest, *depth) }
        }
        Profile::Erfc { crest, depth } => {
            Vertical::Erfc { crest: *crest, falloff: start(*crest, *depth) }
        }
        Profile::Box { top, bottom } => Vertical::Box { top: *top, bottom: *bottom },
        Profile::Table { depth, density } => Vertical::Table {
            depth: depth.clone(),
            relative: density.iter().map(|d| d / piece.peak).collect(),
        },
    };
    Term {
        name: piece.name.clone(),
        polarity: piece.polarity,
        peak: piece.peak,
        lateral: Lateral::Window { from: piece.from, to: piece.to, spread: piece.spread },
        vertical,
        deep,
        at: Some(piece.at.clone()),
    }
}

/// `case` refuses these too; a case made in memory must not divide by zero here.
fn check_numbers(piece: &Piece, term: &Term, problems: &mut Vec<Problem>) {
    let vertical_ok = match &term.vertical {
        Vertical::Gaussian { crest, falloff } | Vertical::Erfc { crest, falloff } => {
            crest.is_finite() && falloff.is_finite() && *falloff > 0.0
        }
        Vertical::Table { depth, relative } => {
            !depth.is_empty()
                && depth.len() == relative.len()
                && depth.windows(2).all(|w| w[0] < w[1])
                && relative.iter().all(|r| *r > 0.0 && r.is_finite())
        }
        _ => true,
    };
    let lateral_ok = piece.from < piece.to && piece.spread >= 0.0 && piece.spread.is_finite();
    if !(vertical_ok && lateral_ok && piece.peak > 0.0 && piece.peak.is_finite()) {
        problems.push(
            Problem::error(
                "impossible-value",
                Some(piece.at.clone()),
                format!("`{}` has a length or density that cannot be", piece.name),
            )
            .help("peak and falloff above zero, from below to, spread at least zero, table depths growing"),
        );
    }
}

fn junction_of(profile: &Profile) -> Option<f64> {
    match profile {
        Profile::Gaussian { depth: Depth::Junction(d), .. }
        | Profile::Erfc { depth: Depth::Junction(d), .. } => Some(*d),
        _ => None,
    }
}

fn falloff_of(vertical: &Vertical) -> f64 {
    match vertical {
        Vertical::Gaussian { falloff, .. } | Vertical::Erfc { falloff, .. } => *falloff,
        _ => f64::NAN,
    }
}

fn set_falloff(vertical: &mut Vertical, value: f64) {
    if let Vertical::Gaussian { falloff, .. } | Vertical::Erfc { falloff, .. } = vertical {
        *falloff = value;
    }
}

/// Density of the piece's polarity minus the other, all terms but `skip` [cm⁻³].
fn signed_sum(terms: &[Term], polarity: Polarity, skip: Option<usize>, x: f64, y: f64) -> f64 {
    terms
        .iter()
        .enumerate()
        .filter(|(i, _)| Some(*i) != skip)
        .map(|(_, t)| if t.polarity == polarity { t.value(x, y) } else { -t.value(x, y) })
        .sum()
}

/// The falloff [µm] that makes the net doping zero at `depth` on the centre line.
fn falloff_for(terms: &[Term], index: usize, piece: &Piece, depth: f64) -> Result<f64, String> {
    let x = 0.5 * (piece.from + piece.to);
    let target = -signed_sum(terms, piece.polarity, Some(index), x, depth);
    let (own, other) = words(piece.polarity);
    if target <= 0.0 {
        return Err(format!(
            "without it the silicon there is already {own}: no {other} doping to meet"
        ));
    }
    if target >= piece.peak {
        return Err(format!(
            "the {other} doping there, {target:.3e} cm⁻³, is above its peak of {:.3e} cm⁻³",
            piece.peak
        ));
    }
    let (crest, reach) = match &terms[index].vertical {
        Vertical::Gaussian { crest, .. } => (*crest, (piece.peak / target).ln().sqrt()),
        Vertical::Erfc { crest, .. } => (*crest, inverse_erfc(target / piece.peak)),
        _ => return Err("its shape has no falloff".to_string()),
    };
    if depth <= crest {
        return Err(format!("it is not below the crest at {crest} µm"));
    }
    Ok((depth - crest) / reach)
}

/// True if the net doping is of the piece's polarity just above `depth` and of the
/// other just below.
fn changes_sign(terms: &[Term], piece: &Piece, depth: f64) -> bool {
    let x = 0.5 * (piece.from + piece.to);
    let step = 1e-4 * depth.abs();
    signed_sum(terms, piece.polarity, None, x, depth - step) > 0.0
        && signed_sum(terms, piece.polarity, None, x, depth + step) < 0.0
}

fn junction_problem(piece: &Piece, depth: f64, why: String) -> Problem {
    Problem::error(
        "junction-depth",
        Some(piece.at.clone()),
        format!("`{}` cannot have its junction at {depth} µm: {why}", piece.name),
    )
    .help("give `falloff` instead, or another `junction_depth`")
}

fn words(polarity: Polarity) -> (&'static str, &'static str) {
    match polarity {
        Polarity::Donors => ("n-type", "acceptor"),
        Polarity::Acceptors => ("p-type", "donor"),
    }
}

/// u > 0 with erfc(u) = t, 0 < t < 1, by bisection (erfc is monotone).
fn inverse_erfc(t: f64) -> f64 {
    let (mut low, mut high) = (0.0, 28.0);
    for _ in 0..200 {
        let mid = 0.5 * (low + high);
        if libm::erfc(mid) > t {
            low = mid;
        } else {
            high = mid;
        }
    }
    0.5 * (low + high)
}
