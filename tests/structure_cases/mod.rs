//! Cases built in Rust for the tests of `structure` and `mesh`.
#![allow(dead_code)]

use holdpoint::case::*;

/// A wafer of p-type silicon without anything in it.
pub fn wafer(span: f64, thickness: f64, acceptors: f64) -> Case {
    Case {
        title: String::new(),
        temperature: 300.0,
        temperatures: Vec::new(),
        width: 1.0,
        wafer: Wafer {
            span,
            thickness,
            doping: Some((Polarity::Acceptors, acceptors)),
            epi: None,
            at: 0..1,
        },
        wells: Vec::new(),
        diffusions: Vec::new(),
        trenches: Vec::new(),
        gates: Vec::new(),
        terminals: Vec::new(),
        heat: Default::default(),
        laws: Laws::default(),
        constants: Constants::default(),
        grid: Grid::default(),
        slides: Vec::new(),
        follows: Vec::new(),
        rules: Vec::new(),
        spreads: Vec::new(),
        experiments: Vec::new(),
        verdict: None,
        text: String::new(),
        path: String::new(),
    }
}

pub fn gaussian(
    name: &str,
    polarity: Polarity,
    peak: f64,
    from: f64,
    to: f64,
    falloff: f64,
    spread: f64,
) -> Piece {
    Piece {
        name: name.to_string(),
        polarity,
        peak,
        from,
        to,
        spread,
        profile: Profile::Gaussian { crest: 0.0, depth: Depth::Falloff(falloff) },
        at: 10..20,
    }
}

pub fn boxed(name: &str, polarity: Polarity, peak: f64, x: (f64, f64), y: (f64, f64)) -> Piece {
    Piece {
        name: name.to_string(),
        polarity,
        peak,
        from: x.0,
        to: x.1,
        spread: 0.0,
        profile: Profile::Box { top: y.0, bottom: y.1 },
        at: 10..20,
    }
}

pub fn surface(name: &str, role: Role, from: f64, to: f64) -> Terminal {
    Terminal {
        name: name.to_string(),
        role,
        touches: vec![Touch::Surface { from, to }],
        resistance: 0.0,
        inductance: 0.0,
        capacitance: 0.0,
        at: 30..40,
    }
}

pub fn side(name: &str, role: Role, side: Side) -> Terminal {
    Terminal { touches: vec![Touch::Side(side)], ..surface(name, role, 0.0, 0.0) }
}

pub fn gate(name: &str, from: f64, to: f64, oxide: f64, plate: Plate) -> Gate {
    Gate {
        name: name.to_string(),
        from,
        to,
        oxide,
        plate,
        fixed_charge: 0.0,
        follows: None,
        at: 50..60,
    }
}

/// Adjacent NMOS and PMOS, mirror-symmetric about x = 12 µm.
pub fn pad() -> Case {
    use Polarity::{Acceptors, Donors};
    let mut case = wafer(24.0, 10.0, 1e15);
    case.wells = vec![
        gaussian("p-well", Acceptors, 1e17, 0.0, 12.0, 1.2, 0.8),
        gaussian("n-well", Donors, 1e17, 12.0, 24.0, 1.2, 0.8),
    ];
    let shallow = |name: &str, polarity, from: f64, to: f64| {
        gaussian(name, polarity, 1e20, from, to, 0.12, 0.09)
    };
    case.diffusions = vec![
        shallow("p+ tap", Acceptors, 1.0, 2.5),
        shallow("n+ drain", Donors, 5.0, 7.0),
        shallow("n+ source", Donors, 8.0, 10.0),
        shallow("p+ source", Acceptors, 14.0, 16.0),
        shallow("p+ drain", Acceptors, 17.0, 19.0),
        shallow("n+ tap", Donors, 21.5, 23.0),
    ];
    case.trenches =
        vec![Trench { from: 10.5, to: 13.5, depth: 0.35, fixed_charge: 0.0, at: 70..80 }];
    case.gates = vec![
        gate("n-gate", 7.15, 7.85, 0.007, Plate::NPoly),
        gate("p-gate", 16.15, 16.85, 0.007, Plate::PPoly),
    ];
    case.terminals = vec![
        surface("substrate-tap", Role::SubstrateTap, 1.2, 2.3),
        surface("n-drain", Role::Drain, 5.2, 6.8),
        surface("cathode", Role::Cathode, 8.2, 9.8),
        surface("anode", Role::Anode, 14.2, 15.8),
        surface("p-drain", Role::Drain, 17.2, 18.8),
        surface("well-tap", Role::WellTap, 21.7, 22.8),
    ];
    case
}

/// A p-n-p-n bar with contacts at its ends.
pub fn bar() -> Case {
    use Polarity::{Acceptors, Donors};
    let mut case = wafer(12.0, 1.0, 1e14);
    case.wafer.doping = None;
    let layer =
        |name: &str, polarity, peak, from, to| boxed(name, polarity, peak, (from, to), (0.0, 1.0));
    case.wells = vec![
        layer("p+ emitter", Acceptors, 1e19, 0.0, 2.0),
        layer("n base", Donors, 1e16, 2.0, 7.0),
        layer("p base", Acceptors, 1e17, 7.0, 9.0),
        layer("n+ emitter", Donors, 1e19, 9.0, 12.0),
    ];
    case.terminals =
        vec![side("anode", Role::Anode, Side::Left), side("cathode", Role::Cathode, Side::Right)];
    case
}
