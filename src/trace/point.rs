//! One solved point of a branch with its tangent, and predictions from it.

use crate::discretize::{Device, State, Tie, add_words};
use crate::solve::{Constraint, NewtonError, PlaneScale, System, Tangent};

/// A solved point: state, drive, and the unit tangent in the plane (λ/V_s, asinh(I/I₀)).
#[derive(Clone)]
pub struct Point {
    pub state: State,
    /// Drive voltage [V] in two words.
    pub lambda: [f64; 2],
    /// Drive current [A/µm].
    pub current: f64,
    pub place: [f64; 2],
    /// Unit vector in the plane.
    pub direction: [f64; 2],
    /// d(everything)/d(arclength in the plane).
    pub tangent: Tangent,
}

/// Multiply a tangent by a factor.
fn scaled(mut t: Tangent, f: f64) -> Tangent {
    for v in [&mut t.psi, &mut t.phi_n, &mut t.phi_p, &mut t.volts] {
        for x in v.iter_mut() {
            *x *= f;
        }
    }
    t.lambda *= f;
    t.current *= f;
    t
}

/// Direction of a tangent in the plane at drive current `current`, not normalized.
fn in_plane(t: &Tangent, scale: PlaneScale, current: f64) -> [f64; 2] {
    [t.lambda / scale.voltage, t.current / current.hypot(scale.current)]
}

impl Point {
    /// The point that `system` has just solved, with the tangent of its last Newton step,
    /// pointing so that its product with `towards` is positive.
    pub fn solved(
        system: &System,
        state: State,
        lambda: [f64; 2],
        scale: PlaneScale,
        towards: [f64; 2],
    ) -> Option<Point> {
        let current = system.drive_current();
        let t = system.tangent(&state)?;
        let d = in_plane(&t, scale, current);
        let norm = d[0].hypot(d[1]);
        if !(norm > 0.0 && norm.is_finite()) {
            return None;
        }
        let sign = if d[0] * towards[0] + d[1] * towards[1] < 0.0 { -1.0 } else { 1.0 };
        let f = sign / norm;
        Some(Point {
            lambda,
            current,
            place: scale.place(lambda[0], current),
            direction: [d[0] * f, d[1] * f],
            tangent: scaled(t, f),
            state,
        })
    }

    /// The same point with its Jacobian made anew: no history is left in it.
    pub fn renewed(
        system: &mut System,
        state: State,
        lambda: [f64; 2],
        scale: PlaneScale,
        towards: [f64; 2],
    ) -> Result<Point, NewtonError> {
        let constraint =
            Constraint::Plane { scale, direction: towards, origin: [0.0; 2], step: 0.0 };
        system.linearize(&state, lambda, constraint)?;
        Point::solved(system, state, lambda, scale, towards).ok_or(NewtonError::Linear(
            crate::linear::LinearError::Singular { backward_error: 1.0, row: 0, unknown: 0 },
        ))
    }

    /// Distance to another point in the plane.
    pub fn distance(&self, other: &Point) -> f64 {
        (self.place[0] - other.place[0]).hypot(self.place[1] - other.place[1])
    }

    /// Prediction at arclength `ds` from here. `other` is a second solved point at
    /// arclength `at` (negative behind): with it the prediction is the cubic through both
    /// points and both tangents.
    pub fn predict(
        &self,
        device: &Device,
        other: Option<(&Point, f64)>,
        ds: f64,
    ) -> (State, [f64; 2]) {
        let mut state = self.state.clone();
        let t = &self.tangent;
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
                state.phi_n.add(i, d[1]);
                state.phi_p.add(i, d[2]);
            }
        }
        let mut d = ds * t.lambda;
        if let Some((o, at)) = other {
            d += bend(ds, t.lambda, o.lambda[0] - self.lambda[0], o.tangent.lambda, at);
        }
        let lambda = add_words(self.lambda, d);
        for k in 0..t.volts.len() {
            let mut d = ds * t.volts[k];
            if let Some((o, at)) = other {
                let far = o.state.volts.difference_to(&self.state.volts, k);
                d += bend(ds, t.volts[k], far, o.tangent.volts[k], at);
            }
            state.set_contact(device, k, add_words(self.state.volts.get(k), d));
        }
        state.refresh(device);
        (state, lambda)
    }
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
