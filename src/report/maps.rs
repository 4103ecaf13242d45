//! Maps of fields: which quantities, on which scale, as numbers of 16 bits at the points of
//! the mesh for the page, and as pixels for figures.

use serde_json::{Value, json};

use super::escape::base64;
use super::ink::{Ramp, magnitude, signed};
use super::outline::{net_doping, on_grid};
use super::units::si;
use crate::experiment::Figures;
use crate::mesh::{Material, Mesh};
use crate::record::RunRecord;
use crate::trace::Fields;

/// How values become colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    Linear,
    /// Down to this many decades below the largest value.
    Log(u8),
    /// asinh, both signs, linear below this many decades under the largest value.
    Signed(u8),
}

/// A quantity that is mapped.
#[derive(Debug, Clone, Copy)]
pub struct Quantity {
    pub key: &'static str,
    pub name: &'static str,
    pub unit: &'static str,
    pub tone: Tone,
    /// Exists in silicon only.
    pub silicon: bool,
}

const fn row(
    key: &'static str,
    name: &'static str,
    unit: &'static str,
    tone: Tone,
    silicon: bool,
) -> Quantity {
    Quantity { key, name, unit, tone, silicon }
}

/// In the order shown.
pub const QUANTITIES: [Quantity; 9] = [
    row("net-doping", "net doping", "cm⁻³", Tone::Signed(6), true),
    row("potential", "potential", "V", Tone::Linear, false),
    row("electron-current", "electron current density", "A/cm²", Tone::Log(7), true),
    row("hole-current", "hole current density", "A/cm²", Tone::Log(7), true),
    row("electrons", "electron density", "cm⁻³", Tone::Log(14), true),
    row("holes", "hole density", "cm⁻³", Tone::Log(14), true),
    row("recombination", "net recombination", "cm⁻³ s⁻¹", Tone::Signed(6), true),
    row("avalanche", "avalanche generation", "cm⁻³ s⁻¹", Tone::Log(8), true),
    row("temperature", "temperature", "K", Tone::Linear, false),
];

/// Values at all points of the mesh, NaN where there are none; `None` if the file has not
/// got the quantity.
fn values(mesh: &Mesh, f: &Fields, key: &str) -> Option<Vec<f64>> {
    let size =
        |x: &[f64], y: &[f64]| -> Vec<f64> { x.iter().zip(y).map(|(x, y)| x.hypot(*y)).collect() };
    let by_node = match key {
        "net-doping" => return Some(net_doping(mesh)),
        "potential" => f.state.potential.clone(),
        "electron-current" => size(&f.electron_current_x, &f.electron_current_y),
        "hole-current" => size(&f.hole_current_x, &f.hole_current_y),
        "electrons" => f.electrons.clone(),
        "holes" => f.holes.clone(),
        "recombination" => f.recombination.clone(),
        "avalanche" => f.avalanche.clone(),
        "temperature" => f.state.temperature.clone(),
        _ => return None,
    };
    (by_node.len() == mesh.nodes()).then(|| on_grid(mesh, &by_node))
}

/// The scale of a quantity, common to all values that are to be compared.
#[derive(Debug, Clone, Copy)]
pub struct Span {
    pub quantity: Quantity,
    /// Ends of the scale after the logarithm or asinh.
    pub low: f64,
    pub high: f64,
    /// Of asinh(value/knee).
    pub knee: f64,
    /// Smallest magnitude on a logarithmic scale.
    floor: f64,
}

impl Span {
    /// `None` if there are no values, or nothing but zeros.
    pub fn over(quantity: Quantity, lists: &[&[f64]]) -> Option<Span> {
        let all = || lists.iter().flat_map(|l| l.iter().copied());
        let size = all().map(f64::abs).filter(|v| v.is_finite()).fold(0.0, f64::max);
        if size == 0.0 && quantity.tone != Tone::Linear {
            return None;
        }
        let under = |decades: u8| size * 10f64.powi(-i32::from(decades));
        let (knee, floor) = match quantity.tone {
            Tone::Linear => (1.0, 0.0),
            Tone::Log(decades) => (1.0, under(decades)),
            Tone::Signed(decades) => (under(decades), 0.0),
        };
        let span = Span { quantity, low: 0.0, high: 1.0, knee, floor };
        let known = all().map(|v| span.turn(v)).filter(|v| v.is_finite());
        let (mut low, mut high) =
            known.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        if low > high {
            return None;
        }
        if let Tone::Signed(_) = quantity.tone {
            let most = high.abs().max(low.abs());
            (low, high) = (-most, most);
        }
        if high <= low {
            let pad = (low.abs() * 1e-6).max(1e-9);
            (low, high) = (low - pad, high + pad);
        }
        Some(Span { low, high, ..span })
    }

    /// A value after the logarithm or asinh; NaN stays NaN.
    fn turn(&self, v: f64) -> f64 {
        match self.quantity.tone {
            _ if v.is_nan() => v,
            Tone::Linear => v,
            Tone::Log(_) => v.abs().max(self.floor).log10(),
            Tone::Signed(_) => (v / self.knee).asinh(),
        }
    }
}

/// A quantity's values at all points of the mesh, NaN where it has none.
pub fn known(mesh: &Mesh, f: &Fields, quantity: Quantity) -> Option<Vec<f64>> {
    let mut v = values(mesh, f, quantity.key)?;
    if quantity.silicon {
        blank_outside_silicon(mesh, &mut v);
    }
    Some(v)
}

/// A quantity on a scale: shares from 0 to 1 at all points of the mesh.
#[derive(Debug, Clone)]
pub struct Map {
    pub span: Span,
    /// NaN where there is no value.
    pub shares: Vec<f64>,
}

impl Map {
    /// On its own scale; `None` if the file has not got the quantity, or nothing but zeros.
    pub fn new(mesh: &Mesh, f: &Fields, quantity: Quantity) -> Option<Map> {
        let v = known(mesh, f, quantity)?;
        Some(Map::on(Span::over(quantity, &[&v])?, &v))
    }

    pub fn on(span: Span, values: &[f64]) -> Map {
        let share = |v: &f64| (span.turn(*v) - span.low) / (span.high - span.low);
        Map { span, shares: values.iter().map(share).collect() }
    }

    /// The value that a share stands for.
    pub fn value(&self, share: f64) -> f64 {
        let s = &self.span;
        let u = s.low + (s.high - s.low) * share;
        match s.quantity.tone {
            Tone::Linear => u,
            Tone::Log(_) => 10f64.powf(u),
            Tone::Signed(_) => s.knee * u.sinh(),
        }
    }

    pub fn ramp(&self) -> Ramp {
        if let Tone::Signed(_) = self.span.quantity.tone { signed() } else { magnitude() }
    }

    pub fn json(&self) -> Value {
        let words = self.shares.iter().map(|s| match s.is_finite() {
            true => (s.clamp(0.0, 1.0) * 65534.0).round() as u16,
            false => u16::MAX,
        });
        let bytes: Vec<u8> = words.flat_map(u16::to_le_bytes).collect();
        let Span { low, high, knee, .. } = self.span;
        json!({"low": low, "high": high, "knee": knee, "data": base64(&bytes)})
    }
}

/// Points that touch no silicon cell have no carriers: nothing is interpolated with them.
fn blank_outside_silicon(mesh: &Mesh, v: &mut [f64]) {
    let (nx, ny) = (mesh.nx(), mesh.ny());
    let silicon = |i: usize, j: usize| mesh.cell(i, j) == Material::Silicon;
    for j in 0..ny {
        for i in 0..nx {
            let columns = i.saturating_sub(1)..=i.min(nx - 2);
            let touches = columns
                .flat_map(|a| (j.saturating_sub(1)..=j.min(ny - 2)).map(move |b| (a, b)))
                .any(|(a, b)| silicon(a, b));
            if !touches && let Some(v) = v.get_mut(j * nx + i) {
                *v = f64::NAN;
            }
        }
    }
}

/// A stored point that is mapped.
pub struct Stored<'a> {
    pub experiment: usize,
    pub label: String,
    pub fields: &'a Fields,
}

/// The points worth looking at: trigger, holding, critical, and the end (the on-state).
/// If there are none of them, all that are stored, up to four.
pub fn points(record: &RunRecord) -> Vec<Stored<'_>> {
    let mut out = Vec::new();
    for (k, o) in record.experiments.iter().enumerate() {
        let known = ["trigger", "holding", "critical", "end"];
        for f in o.fields.iter().filter(|f| known.contains(&f.label.as_str())) {
            out.push(Stored { experiment: k, label: f.label.clone(), fields: f });
        }
    }
    if out.is_empty() {
        for (k, o) in record.experiments.iter().enumerate() {
            let all = o.fields.iter().map(|f| Stored {
                experiment: k,
                label: f.label.clone(),
                fields: f,
            });
            out.extend(all.take(4));
        }
    }
    out
}

/// "holding point of snapback on anode, 1.052 V, 682.1 µA/µm".
pub fn describe(record: &RunRecord, p: &Stored) -> String {
    let o = &record.experiments[p.experiment];
    let end = match p.label.as_str() {
        "end" if matches!(o.figures, Figures::Snapback { holding: Ok(_), .. }) => "on-state of",
        "end" => "end of",
        "trigger" => "trigger point of",
        "holding" => "holding point of",
        "critical" => "critical point of",
        other => return format!("{other} of {}", o.kind),
    };
    format!("{end} {}, {}, {}", o.kind, si(p.fields.voltage, "V"), si(p.fields.current, "A/µm"))
}
