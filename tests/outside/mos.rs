//! The MOS capacitor and transistor against textbooks: exact surface charge, flat-band and
//! threshold voltage with fixed oxide charge, body effect, capacitances.

use holdpoint::discretize::{Circuit, State, Tying};
use holdpoint::silicon::{Q, thermal_voltage};
use holdpoint::solve::System;
use holdpoint::trace::walk;

use crate::bar::{Bench, lines};
use crate::ledger::{Within, check};

/// A worked example: its numbers and its constants.
struct Example {
    /// Net doping [cm⁻³], donors positive.
    net: f64,
    /// Oxide thickness [nm].
    oxide: f64,
    /// Work function of the plate less that of the silicon [V].
    phi_ms: f64,
    /// Fixed charge [cm⁻²].
    charge: f64,
    n_i: f64,
    eps: f64,
}

impl Example {
    /// kT/q·ln(N/n_i): the Fermi level from mid-gap.
    fn phi_f(&self) -> f64 {
        thermal_voltage(300.0) * (self.net.abs() / self.n_i).ln()
    }

    /// C_ox [F/cm²].
    fn c_ox(&self) -> f64 {
        3.9 * 8.8541878128e-14 / (self.oxide * 1e-7)
    }

    /// Laws, constants and mesh; the wafer is thick enough for the deepest depletion.
    fn text(&self, wafer: &str, x: &[f64], thickness: f64, rest: &str) -> String {
        let y = lines(&[0.0, thickness], 5e-5, 1.05, 0.02 * thickness);
        format!(
            "temperature = 300\n[wafer]\nthickness = {thickness}\n{wafer}\n{rest}\
             [laws]\nmobility = \"constant\"\nlifetime = \"constant\"\nnarrowing = \"none\"\n\
             avalanche = \"none\"\n[constants]\nintrinsic = {{ ni_300 = {:e} }}\n\
             dielectric = {{ silicon = {} }}\n[grid]\nx = {x:?}\ny = {y:?}\n",
            self.n_i, self.eps
        )
    }

    /// The gate from `from` to `to` \[µm\]: a plate of the work function that gives φ_ms.
    fn gate(&self, bench: Option<&Bench>, from: f64, to: f64) -> String {
        // χ + E_g/2 ± φ_F of the silicon; without a bench any plate will do.
        let silicon = bench.map_or(4.61, |b| {
            let s = &b.device.silicon;
            s.affinity + 0.5 * s.gap - self.net.signum() * self.phi_f()
        });
        format!(
            "[[gate]]\nname = \"gate\"\nfrom = {from}\nto = {to}\noxide = \"{} nm\"\n\
             plate = {{ work_function = {:?} }}\nfixed_charge = {:e}\n",
            self.oxide,
            silicon + self.phi_ms,
            self.charge
        )
    }

    /// A capacitor on a wafer of this doping.
    fn capacitor(&self) -> Mos {
        let depth = (4.0 * self.eps * 8.854e-14 * self.phi_f() / (Q * self.net.abs())).sqrt();
        let thickness = (6.0 * depth * 1e4).max(1.0);
        let polarity = if self.net > 0.0 { "donors" } else { "acceptors" };
        let wafer = format!("span = 1\n{polarity} = {:e}", self.net.abs());
        let back = "[[terminal]]\nname = \"bulk\"\ntouches = [{ side = \"back\" }]\n";
        let build = |bench: Option<&Bench>| {
            let rest = format!("{}{back}", self.gate(bench, 0.0, 1.0));
            Bench::new(&self.text(&wafer, &[0.0, 0.5, 1.0], thickness, &rest))
        };
        Mos { bench: build(Some(&build(None))), thickness, x: 0.5 }
    }

    /// A transistor's source and gate on a p-type wafer.
    fn transistor(&self) -> Mos {
        let wafer = format!("span = 3\nacceptors = {:e}", -self.net);
        let parts = "[[diffusion]]\nname = \"n+ source\"\ndonors = 1e19\nfrom = 0\nto = 0.5\n\
             shape = \"box\"\nbottom = 0.2\nspread = 0.0\n\
             [[terminal]]\nname = \"source\"\ntouches = [{ from = 0, to = 0.3 }]\n\
             [[terminal]]\nname = \"bulk\"\ntouches = [{ side = \"back\" }]\n";
        let x = lines(&[0.0, 0.5, 3.0], 5e-3, 1.3, 0.2);
        let build = |bench: Option<&Bench>| {
            let rest = format!("{}{parts}", self.gate(bench, 0.45, 3.0));
            Bench::new(&self.text(&wafer, &x, 3.0, &rest))
        };
        Mos { bench: build(Some(&build(None))), thickness: 3.0, x: 2.2 }
    }
}

/// A solved structure; x \[µm\] is where it is looked at.
struct Mos {
    bench: Bench,
    thickness: f64,
    x: f64,
}

/// Where the surface bends as wanted.
struct Bent {
    /// Gate voltage [V].
    gate: f64,
    /// Charge of the silicon [C/cm²], by the field in the oxide less the fixed charge.
    charge: f64,
    /// Thickness [µm] of silicon that the missing majority carriers would fill.
    depleted: f64,
}

impl Mos {
    fn node(&self, y: f64) -> usize {
        let mesh = &self.bench.mesh;
        let near = |v: &f64| (v - y).abs() < 1e-9;
        let j = mesh.y.iter().position(near).expect("a line");
        mesh.node(self.bench.line(self.x), j).expect("a node")
    }

    /// Potential of the surface over the bulk [V].
    fn bend(&self, state: &State) -> f64 {
        state.psi.difference(self.node(0.0), self.node(self.thickness))
    }

    /// Bisects the gate voltage for each band bending [V] in turn, `others` [V] on the
    /// other terminals.
    fn bent(&self, example: &Example, others: &[(&str, f64)], wanted: &[f64]) -> Vec<Bent> {
        let bench = &self.bench;
        let (mut state, mut lambda) = (bench.equilibrium.clone(), 0.0);
        for &(name, volts) in others {
            let mut lambda = 0.0;
            walk(&mut bench.system(name), &mut state, &mut lambda, volts, 0.5).expect("bias");
        }
        let mut system = self.system(others);
        let bend = |gate: f64, system: &mut System, state: &mut State, lambda: &mut f64| {
            walk(system, state, lambda, gate, 5.0).expect("gate bias");
            self.bend(state)
        };
        let of = |&psi: &f64| {
            let (mut low, mut high) = (-6.0, 6.0);
            for _ in 0..60 {
                let v = 0.5 * (low + high);
                let now = bend(v, &mut system, &mut state, &mut lambda);
                if (now - psi).abs() < 1e-9 {
                    break;
                }
                if now < psi { low = v } else { high = v }
            }
            assert!((self.bend(&state) - psi).abs() < 1e-8, "no gate voltage bends by {psi} V");
            let top = {
                let k = bench.contact("gate");
                let x = bench.line(self.x);
                let node = |&&n: &&u32| bench.mesh.ij(n as usize).0 == x;
                *bench.device.contacts[k].nodes.iter().find(node).expect("under the gate") as usize
            };
            let field = state.psi.difference(top, self.node(0.0)) / (example.oxide * 1e-7);
            let oxide = bench.device.silicon.eps_oxide * field;
            let missing = bench.integral(0.0, bench.case.wafer.span, |i| {
                let majority = if example.net > 0.0 { state.n[i] } else { state.p[i] };
                example.net.abs() - majority
            });
            Bent {
                gate: lambda,
                charge: -(oxide + Q * example.charge),
                depleted: missing / example.net.abs() / (bench.case.wafer.span * 1e-4) * 1e4,
            }
        };
        wanted.iter().map(of).collect()
    }

    /// The gate driven, `others` [V] at the other terminals.
    fn system(&self, others: &[(&str, f64)]) -> System<'_> {
        let contacts = &self.bench.device.contacts;
        let drive = self.bench.contact("gate");
        let ties = contacts.iter().enumerate().map(|(k, contact)| Tying::Source {
            base: others.iter().find(|o| o.0 == contact.name).map_or(0.0, |o| o.1),
            slope: if k == drive { 1.0 } else { 0.0 },
            resistance: 0.0,
        });
        let circuit = Circuit { ties: ties.collect(), drive: vec![drive] };
        System::new(&self.bench.device, circuit).expect("analysis")
    }
}

/// n+ poly of the textbook: its Fermi level at the conduction band.
const N_POLY: Example =
    Example { net: -1e17, oxide: 10.0, phi_ms: -0.9799, charge: 0.0, n_i: 9.65e9, eps: 11.7 };

/// Surface charge of a p-type MOS: Kingston, Neustadter, J. Appl. Phys. 26, 718 (1955).
#[test]
fn surface_charge() {
    let mos = N_POLY.capacitor();
    let vt = thermal_voltage(300.0);
    let formula = |psi: f64| {
        let (na, np) = (1e17, 9.65e9f64.powi(2) / 1e17);
        let u = psi / vt;
        let f = na * ((-u).exp_m1() + u) + np * (u.exp_m1() - u);
        (2.0 * mos.bench.device.silicon.eps_silicon * Q * vt * f).sqrt()
    };
    let published = [
        (0.1, 4.97925e-8),
        (0.3, 9.53960e-8),
        (0.5, 1.254569e-7),
        (0.83521, 1.665083e-7),
        (0.95, 3.216241e-7),
    ];
    let at = mos.bent(&N_POLY, &[], &published.map(|p| p.0));
    for ((psi, charge), bent) in published.into_iter().zip(at) {
        let what = format!("|Q_s| at {psi} V [C/cm^2]");
        assert!((formula(psi) / charge - 1.0).abs() < 1e-5, "table and formula");
        check("Kingston-Neustadter 1955", &what, charge, -bent.charge, Within::Relative(1e-3));
        if psi == 0.83521 {
            // Strong inversion, ψ_s = 2φ_F: φ_ms + 2φ_F + Q_d/C_ox with φ_ms = −0.9799 V,
            // Q_d = 1.6651e-7 C/cm², C_ox = 3.4531e-7 F/cm².
            let what = "threshold of n+ poly, 10 nm, 1e17 [V]";
            check("MOS textbook formula", what, 0.3376, bent.gate, Within::Absolute(0.01));
        }
    }
}

/// Flat-band and threshold voltages with fixed oxide charge. Neamen, Semiconductor Physics
/// and Devices, examples 11.3, 11.5, 11.6 (n_i = 1.5e10, ε = 11.7); Sze, Semiconductor
/// Devices, Physics and Technology, examples 6.3 and 6.6 (n_i = 9.65e9, ε = 11.9; the
/// threshold recomputed with the book's formula: −0.012 V, printed −0.02 V).
#[test]
fn flat_band_and_threshold_with_fixed_charge() {
    let neamen =
        |net, oxide, phi_ms, charge| Example { net, oxide, phi_ms, charge, n_i: 1.5e10, eps: 11.7 };
    let sze =
        Example { net: -1e17, oxide: 5.0, phi_ms: -0.98, charge: 5e11, n_i: 9.65e9, eps: 11.9 };
    let cases = [
        ("Neamen 11.3", "50 nm, 1e11 charges", neamen(-1e16, 50.0, -1.1, 1e11), Some(-1.33), None),
        ("Neamen 11.5", "p 1e14, 50 nm", neamen(-1e14, 50.0, -0.83, 1e10), None, Some(-0.341)),
        ("Neamen 11.6", "n 2.5e14, 65 nm", neamen(2.5e14, 65.0, -0.35, 1e10), None, Some(-1.005)),
        ("Sze 6.3, 6.6", "p 1e17, 5 nm, 5e11 charges", sze, Some(-1.10), Some(-0.012)),
    ];
    for (source, what, example, flat_band, threshold) in cases {
        let mos = example.capacitor();
        let inverted = -2.0 * example.net.signum() * example.phi_f();
        let at = mos.bent(&example, &[], &[0.0, inverted]);
        if let Some(published) = flat_band {
            let what = format!("flat-band voltage, {what} [V]");
            check(source, &what, published, at[0].gate, Within::Absolute(0.01));
        }
        if let Some(published) = threshold {
            let what = format!("threshold, {what} [V]");
            check(source, &what, published, at[1].gate, Within::Absolute(0.01));
        }
    }
}

/// Widest depletion: Neamen example 11.1, Sze example 6.1. Both neglect the carriers at
/// its edge (some kT/q of the band bending).
#[test]
fn widest_depletion() {
    let neamen =
        Example { net: -1e16, oxide: 50.0, phi_ms: -1.1, charge: 0.0, n_i: 1.5e10, eps: 11.7 };
    let sze =
        Example { net: -1e17, oxide: 5.0, phi_ms: -0.98, charge: 0.0, n_i: 9.65e9, eps: 11.9 };
    for (source, example, published) in [("Neamen 11.1", neamen, 0.300), ("Sze 6.1", sze, 0.105)] {
        let at = example.capacitor().bent(&example, &[], &[2.0 * example.phi_f()]);
        let what = "widest depletion [um]";
        check(source, what, published, at[0].depleted, Within::Relative(0.03));
    }
}

/// Capacitance over C_ox at flat band and with the widest depletion: Neamen example 11.7.
#[test]
fn capacitances() {
    let example =
        Example { net: -1e16, oxide: 55.0, phi_ms: 0.0, charge: 0.0, n_i: 1.5e10, eps: 11.7 };
    let mos = example.capacitor();
    let at = mos.bent(&example, &[], &[-1e-3, 1e-3, 2.0 * example.phi_f()]);
    let slope = (at[1].charge - at[0].charge) / (at[1].gate - at[0].gate);
    let flat_band = -slope / example.c_ox();
    check("Neamen 11.7", "C_FB/C_ox", 0.80, flat_band, Within::Relative(0.01));
    // Inversion charge does not follow a fast signal: oxide and depletion in series.
    let depletion = example.eps * 8.8541878128e-14 / (at[2].depleted * 1e-4);
    let least = 1.0 / (1.0 + example.c_ox() / depletion);
    check("Neamen 11.7", "C_min/C_ox", 0.355, least, Within::Relative(0.02));
}

/// Body effect of a transistor: Neamen example 11.10 (1 V between source and body).
#[test]
fn body_effect() {
    let example =
        Example { net: -3e16, oxide: 50.0, phi_ms: -0.9, charge: 0.0, n_i: 1.5e10, eps: 11.7 };
    let mos = example.transistor();
    let threshold = |body: f64| {
        let bend = 2.0 * example.phi_f() + body;
        mos.bent(&example, &[("source", body)], &[bend])[0].gate - body
    };
    let shift = threshold(1.0) - threshold(0.0);
    check("Neamen 11.10", "threshold shift at 1 V [V]", 0.66, shift, Within::Absolute(0.01));
}
