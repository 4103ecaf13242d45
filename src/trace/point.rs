//! One solved point of a branch with its tangent, and predictions from it.

use crate::discretize::{Device, State, Tie, add_words};
use crate::linear::LinearError;
use crate::solve::{
    Constraint, NewtonError, Plane, PlaneScale, System, Tangent, Terminals, open_contacts,
};

/// A solved point: state, drive, and the unit tangent in the continuation space.
#[derive(Clone)]
pub struct Point {
    pub state: State,
    /// Drive voltage in two words, V.
    pub lambda: [f64; 2],
    /// Drive current, A/µm.
    pub current: f64,
    /// What the terminals stand at.
    pub at: Terminals,
    /// Largest terminal current, A/µm.
    pub largest: f64,
    /// Unit vector of coordinates (see [`Terminals::coordinates`]): voltage, current, others.
    pub direction: Vec<f64>,
    /// d(everything)/d(arclength).
    pub tangent: Tangent,
    /// The currents that ionize at this solution, see [`Assembly::ionizing`].
    ionizing: Vec<[f64; 2]>,
    pub(super) scale: PlaneScale,
    open: Vec<bool>,
    /// Weight of the inside in the arclength (0: terminals alone), and how it moves along
    /// it by node, in volts: ψ, V_T·δn/n, V_T·δp/p.
    pub(super) inside: f64,
    pub(super) moves: Vec<[f64; 3]>,
}

/// A prediction may part a quasi-Fermi level from the potential by this much, however short
/// the step, in units of the plane's voltage. In a leakage: seed 199 of the hard cases reached
/// its `stop` with 0.05, not with 0.2 or 1 (2026-11). Beyond one: about a band gap, no source.
const PARTING_IN_LEAKAGE: f64 = 0.05;
const PARTING: f64 = 1.0;

/// Multiply a tangent by a factor.
pub(super) fn scaled(mut t: Tangent, f: f64) -> Tangent {
    let ends = &mut t.terminals;
    for v in [
        &mut t.psi,
        &mut t.phi_n,
        &mut t.phi_p,
        &mut t.temperature,
        &mut ends.volts,
        &mut ends.currents,
    ] {
        for x in v.iter_mut() {
            *x *= f;
        }
    }
    ends.lambda *= f;
    ends.current *= f;
    t
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

impl Point {
    /// The point that `system` has just solved, with the tangent of its last Newton step,
    /// pointing so that its product with `towards` (coordinates; missing ones count 0) is
    /// positive.
    pub fn solved(
        system: &mut System,
        state: State,
        lambda: [f64; 2],
        scale: PlaneScale,
        towards: &[f64],
    ) -> Option<Point> {
        let t = system.tangent(&state)?;
        let (at, largest) = standing(system, &state, lambda);
        let open = open_contacts(system.device, &system.circuit);
        let d = t.terminals.coordinates(scale, at.current, largest, &open);
        let norm = dot(&d, &d).sqrt();
        if !(norm > 0.0 && norm.is_finite()) {
            return None;
        }
        let f = if dot(&d, towards) < 0.0 { -1.0 / norm } else { 1.0 / norm };
        Some(Point {
            lambda,
            current: at.current,
            at,
            largest,
            direction: d.iter().map(|x| x * f).collect(),
            tangent: scaled(t, f),
            ionizing: system.assembly.ionizing(system.device),
            scale,
            open,
            state,
            inside: 0.0,
            moves: Vec::new(),
        })
    }

    /// [`Point::solved`] in this point's units of arclength, and pointing as it does.
    pub fn next(&self, system: &mut System, state: State, lambda: [f64; 2]) -> Option<Point> {
        let next = Point::solved(system, state, lambda, self.scale, &self.direction)?;
        if self.inside == 0.0 {
            return Some(next);
        }
        let next = next.weighing(system.device, self.inside);
        Some(if self.along(&next) < 0.0 { next.stretched(-1.0) } else { next })
    }

    /// The same point with its Jacobian made anew: no history is left in it.
    pub fn renewed(
        system: &mut System,
        state: State,
        lambda: [f64; 2],
        scale: PlaneScale,
        towards: &[f64],
    ) -> Result<Point, NewtonError> {
        let mut direction = towards.to_vec();
        direction.resize(2 + system.device.contacts.len(), 0.0);
        system.assembly.evaluate(system.device, &state, false);
        let (origin, largest) = standing(system, &state, lambda);
        let open = open_contacts(system.device, &system.circuit);
        let plane = Plane { scale, direction, origin, largest, open, step: 0.0, inside: None };
        system.linearize(&state, lambda, &Constraint::Plane(Box::new(plane)))?;
        Point::solved(system, state, lambda, scale, towards).ok_or(NewtonError::Linear(
            LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 },
        ))
    }

    /// The hyperplane at arclength `step` from here.
    pub fn plane(&self, device: &Device, step: f64) -> Constraint {
        Constraint::Plane(Box::new(Plane {
            scale: self.scale,
            direction: self.direction.clone(),
            origin: self.at.clone(),
            largest: self.largest,
            open: self.open.clone(),
            step,
            inside: self.inside_of_plane(device),
        }))
    }

    /// Angle between the tangents here and at `next`, in common units (rad).
    pub fn turn(&self, next: &Point) -> f64 {
        if self.weighs_inside() {
            return self.along(next).clamp(-1.0, 1.0).acos();
        }
        let largest = self.largest.max(next.largest);
        let of =
            |p: &Point| p.tangent.terminals.coordinates(self.scale, p.current, largest, &self.open);
        let (a, b) = (of(self), of(next));
        let c = dot(&a, &b) / (dot(&a, &a) * dot(&b, &b)).sqrt();
        c.clamp(-1.0, 1.0).acos()
    }

    /// asinh(I/I₀) of the drive current.
    pub fn log_current(&self) -> f64 {
        self.scale.log_current(self.current)
    }

    /// Distance to a nearby point in common units.
    pub fn distance(&self, device: &Device, other: &Point) -> f64 {
        let gap = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| b - a).collect();
        let difference = Terminals {
            lambda: other.lambda[0] - self.lambda[0],
            current: 0.0,
            volts: gap(&self.at.volts, &other.at.volts),
            currents: gap(&self.at.currents, &other.at.currents),
        };
        let largest = self.largest.max(other.largest);
        let mut d = difference.coordinates(self.scale, self.current, largest, &self.open);
        d[1] = other.log_current() - self.log_current();
        let mut square = dot(&d, &d);
        if self.weighs_inside() {
            let unit = self.inside / self.scale.voltage;
            square += unit * unit * self.moved(device, other);
        }
        square.sqrt()
    }

    /// Angle between the tangent here and the way to a point on the plane at arclength
    /// `length` (rad); 0 if the inside weighs, whose way bends in more directions.
    pub fn aside(&self, device: &Device, next: &Point, length: f64) -> f64 {
        if self.weighs_inside() {
            return 0.0;
        }
        (length / self.distance(device, next)).clamp(-1.0, 1.0).acos()
    }

    /// Prediction at arclength `ds` from here. `other` is a second solved point at
    /// arclength `at` (negative behind): with it the prediction is the cubic through both
    /// points and both tangents. `system` is made ready to start Newton there.
    pub fn predict(
        &self,
        system: &mut System,
        other: Option<(&Point, f64)>,
        ds: f64,
    ) -> (State, [f64; 2]) {
        system.carry_from(&self.ionizing);
        let device = system.device;
        let mut state = self.state.clone();
        let t = &self.tangent;
        for (i, &slope) in t.temperature.iter().enumerate() {
            let mut d = ds * slope;
            if let Some((o, at)) = other {
                let far = o.state.temperature.difference_to(&self.state.temperature, i);
                d += bend(ds, slope, far, o.tangent.temperature[i], at);
            }
            state.heat(device, i, d);
        }
        // A density without digits has a tangent without any: 1e19 V at 1e-33 cm⁻³. In a
        // leakage levels part by little more than the terminals move.
        let least = if self.beyond_leakage() { PARTING } else { PARTING_IN_LEAKAGE };
        let farthest = (2.0 * ds.abs()).max(least) * self.scale.voltage;
        for i in 0..device.nodes() {
            if device.ties[i] != Tie::Free {
                continue;
            }
            let mut d = [ds * t.psi[i], ds * t.phi_n[i], ds * t.phi_p[i]];
            if let Some((o, at)) = other {
                let (there, here, far) = (&o.state, &self.state, &o.tangent);
                d[0] += bend(ds, t.psi[i], there.psi.difference_to(&here.psi, i), far.psi[i], at);
                d[1] += bend(
                    ds,
                    t.phi_n[i],
                    there.phi_n.difference_to(&here.phi_n, i),
                    far.phi_n[i],
                    at,
                );
                d[2] += bend(
                    ds,
                    t.phi_p[i],
                    there.phi_p.difference_to(&here.phi_p, i),
                    far.phi_p[i],
                    at,
                );
            }
            state.psi.add(i, d[0]);
            if device.has_silicon(i) {
                for level in 1..3 {
                    let away = d[level] - d[0];
                    if away.abs() > farthest {
                        d[level] = d[0] + farthest.copysign(away);
                    }
                }
                state.phi_n.add(i, d[1]);
                state.phi_p.add(i, d[2]);
            }
        }
        let ends = &t.terminals;
        let mut d = ds * ends.lambda;
        if let Some((o, at)) = other {
            let far = o.lambda[0] - self.lambda[0];
            d += bend(ds, ends.lambda, far, o.tangent.terminals.lambda, at);
        }
        let lambda = add_words(self.lambda, d);
        for k in 0..ends.volts.len() {
            let mut d = ds * ends.volts[k];
            if let Some((o, at)) = other {
                let far = o.state.volts.difference_to(&self.state.volts, k);
                d += bend(ds, ends.volts[k], far, o.tangent.terminals.volts[k], at);
            }
            state.set_contact(device, k, add_words(self.state.volts.get(k), d));
        }
        state.refresh(device);
        (state, lambda)
    }
}

/// What the terminals stand at in the state last evaluated, and the largest current.
fn standing(system: &System, state: &State, lambda: [f64; 2]) -> (Terminals, f64) {
    let at = Terminals {
        lambda: lambda[0],
        current: system.drive_current(),
        volts: state.volts.hi.clone(),
        currents: (0..system.device.contacts.len()).map(|k| system.current(k)).collect(),
    };
    (at, system.imbalance()[1])
}

/// Quadratic and cubic part at `ds` of the cubic with slope `slope` at 0, value `far` and
/// slope `far_slope` at `at`; beyond the two points never larger than the linear part.
fn bend(ds: f64, slope: f64, far: f64, far_slope: f64, at: f64) -> f64 {
    let a = (far - at * slope) / (at * at);
    let b = (far_slope - slope) / at;
    let bend = ds * ds * ((3.0 * a - b) + ds * (b - 2.0 * a) / at);
    if ds * at > 0.0 && ds.abs() <= at.abs() {
        return bend;
    }
    let linear = (ds * slope).abs();
    bend.clamp(-linear, linear)
}
