//! Yield: how far a point spreads when the case's numbers do, to first order.
//!
//! With independent numbers p_i of standard deviations σ_i the point's voltage has
//! σ² = Σ (∂V/∂p_i σ_i)² (propagation of uncertainty, JCGM 100:2008, section 5.1.2).

use crate::case::{FoldName, Spread};

use super::ground::Ground;
use super::track::Spent;

/// What one number adds.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    pub path: String,
    pub unit: &'static str,
    /// Standard deviation of the number, in its unit.
    pub sigma: f64,
    /// Derivatives [V per unit], [A/µm per unit].
    pub voltage_by: f64,
    pub current_by: f64,
}

/// The spread of one point.
#[derive(Debug, Clone, PartialEq)]
pub struct Spreading {
    pub fold: FoldName,
    pub experiment: usize,
    /// \[V\], [A/µm]
    pub voltage: f64,
    pub current: f64,
    pub sigma_voltage: f64,
    pub sigma_current: f64,
    /// The largest first.
    pub shares: Vec<Share>,
    /// Chance that the voltage lies below a limit \[V\], and the limit: normal by the central
    /// limit.
    pub below: Option<(f64, f64)>,
    /// Numbers left out, with why.
    pub left_out: Vec<String>,
    pub spent: Spent,
}

/// Part of a standard deviation by which derivatives are taken to both sides.
const PART: f64 = 0.5;

/// Spread of the ground's point; `limit` is the voltage \[V\] that it is judged against.
pub fn spread(ground: &Ground<'_>, spreads: &[Spread], limit: Option<f64>) -> Spreading {
    let mut spent = Spent::default();
    let here = &ground.point;
    let (mut shares, mut left_out) = (Vec::new(), Vec::new());
    for s in spreads {
        let d = PART * s.sigma();
        let mut at = |v: f64| ground.at(&[(s.path.as_str(), v)], here, &mut spent);
        match (at(s.drawn + d), at(s.drawn - d)) {
            (Ok(a), Ok(b)) => {
                let v = |p: &crate::experiment::FoldPoint| p.lambda[0] + p.lambda[1];
                shares.push(Share {
                    path: s.path.clone(),
                    unit: s.unit,
                    sigma: s.sigma(),
                    voltage_by: (v(&a) - v(&b)) / (2.0 * d),
                    current_by: (a.current - b.current) / (2.0 * d),
                });
            }
            (Err(why), _) | (_, Err(why)) => left_out.push(format!("{}: {why}", s.path)),
        }
    }
    let root = |of: &dyn Fn(&Share) -> f64| {
        shares.iter().map(|s| (of(s) * s.sigma).powi(2)).sum::<f64>().sqrt()
    };
    let sigma_voltage = root(&|s| s.voltage_by);
    let sigma_current = root(&|s| s.current_by);
    let voltage = here.lambda[0] + here.lambda[1];
    shares
        .sort_by(|a, b| (b.voltage_by * b.sigma).abs().total_cmp(&(a.voltage_by * a.sigma).abs()));
    let below = limit.filter(|_| sigma_voltage > 0.0).map(|limit| {
        let z = (limit - voltage) / sigma_voltage;
        (0.5 * libm::erfc(-z / 2f64.sqrt()), limit)
    });
    Spreading {
        fold: ground.fold,
        experiment: ground.experiment,
        voltage,
        current: here.current,
        sigma_voltage,
        sigma_current,
        shares,
        below,
        left_out,
        spent,
    }
}
