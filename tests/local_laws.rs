//! Laws that look at the local carriers and the lattice temperature, in the whole system:
//! exact rest, conservation of charge and of energy, heat conduction, the S-curve with heat.

use holdpoint::case::{self, Case, Dopants, Heat, HeatPaths, Mobility, Narrowing, Statistics};
use holdpoint::discretize::{Circuit, Device, State, Tie, Tying, ionized};
use holdpoint::experiment::{Figures, Outcome, RunOptions, Status, run_experiment};
use holdpoint::mesh::{self, Mesh};
use holdpoint::silicon::FermiIntegrals;
use holdpoint::solve::{System, equilibrium};
use holdpoint::structure::Structure;
use holdpoint::trace::{FoldKind, KeepNothing, walk};

/// A/cm to A/µm.
const PER_UM: f64 = 1e-4;

fn read(text: &str) -> (Case, Mesh) {
    let (case, _) = case::read_str(text, "local.toml")
        .unwrap_or_else(|p| panic!("{}", case::render(&p, text, "local.toml", false)));
    let (structure, _) = Structure::new(&case).unwrap_or_else(|p| panic!("{p:?}"));
    let (mesh, _) = mesh::build(&case, &structure).unwrap_or_else(|p| panic!("{p:?}"));
    (case, mesh)
}

/// A planar diode with a trench, contacts on top and at the back.
const DIODE: &str = r#"
temperature = 300
[wafer]
span = 3
thickness = 2
acceptors = 5e16
[[diffusion]]
name = "n+"
donors = 2e20
from = 0
to = 1
falloff = 0.15
spread = 0.1
[[trench]]
from = 1.4
to = 2.2
depth = 0.3
[[terminal]]
name = "top"
touches = [{ from = 0, to = 0.8 }]
[[terminal]]
name = "back"
touches = [{ side = "back" }]
[grid]
nodes = 500
"#;

/// Every combination of statistics, ionization, mobility and heat on a case.
fn variants(case: &Case) -> Vec<Case> {
    let mut out = Vec::new();
    for statistics in [Statistics::Boltzmann, Statistics::FermiDirac] {
        for dopants in [Dopants::Ionized, Dopants::Incomplete] {
            for mobility in [Mobility::Masetti1983, Mobility::Klaassen1992] {
                for heat in [Heat::None, Heat::SelfHeating] {
                    let mut c = case.clone();
                    c.laws.statistics = statistics;
                    c.laws.dopants = dopants;
                    c.laws.mobility = mobility;
                    c.laws.narrowing = Narrowing::Klaassen1992;
                    c.laws.surface = true;
                    c.laws.heat = heat;
                    c.heat = HeatPaths { surface: Some(1.0), back: Some(1e-3), terminals: None };
                    out.push(c);
                }
            }
        }
    }
    out
}

fn driven<'d>(device: &'d Device, drive: &str) -> System<'d> {
    let drive = device.contact(drive).expect("terminal");
    let ties = (0..device.contacts.len())
        .map(|k| Tying::Source {
            base: 0.0,
            slope: if k == drive { 1.0 } else { 0.0 },
            resistance: 0.0,
        })
        .collect();
    System::new(device, Circuit { ties, drive: vec![drive] }).expect("analysis")
}

/// Σ V I over the terminals and the heat that leaves the device [W/µm].
fn powers(device: &Device, system: &System, state: &State) -> [f64; 2] {
    let electric: f64 =
        (0..device.contacts.len()).map(|k| state.volts.hi[k] * system.current(k)).sum();
    let loss = &device.heat.as_ref().expect("heat").to_ambient;
    let heat: f64 = loss
        .iter()
        .zip(state.temperature.hi.iter().zip(&state.temperature.lo))
        .map(|(g, (hi, lo))| g * ((hi - device.silicon.temperature) + lo) * PER_UM)
        .sum();
    [electric, heat]
}

#[test]
fn equilibrium_carries_exactly_nothing_and_is_at_ambient() {
    let (case, mesh) = read(DIODE);
    for case in variants(&case) {
        let device = Device::of_case(&case, &mesh);
        let (state, _) = equilibrium(&device).expect("equilibrium");
        let mut system = driven(&device, "top");
        system.assembly.evaluate(&device, &state, false);
        for k in 0..device.contacts.len() {
            assert_eq!(system.current(k), 0.0, "{:?}", case.laws);
        }
        for edge in &system.assembly.edges {
            assert!(edge.n.current == 0.0 && edge.p.current == 0.0);
        }
        assert!(state.temperature.hi.iter().all(|t| *t == 300.0));
        assert_eq!(state.temperature.hi.is_empty(), case.laws.heat == Heat::None);
        // Contacts are neutral under the laws in force.
        for (i, tie) in device.ties.iter().enumerate() {
            if !matches!(tie, Tie::Ohmic(_)) {
                continue;
            }
            let [donors, acceptors] = device.dopants_at[i];
            let ions = ionized(&device.silicon, donors, acceptors, [state.n[i], state.p[i]], 300.0);
            let charge = (state.p[i] - ions.acceptors) - (state.n[i] - ions.donors);
            assert!(charge.abs() < 1e-12 * (donors + acceptors), "{charge:e} {:?}", case.laws);
        }
    }
}

#[test]
fn charge_and_energy_are_conserved() {
    let (case, mesh) = read(DIODE);
    let (mut worst_charge, mut worst_energy) = (0.0f64, 0.0f64);
    for case in variants(&case) {
        let device = Device::of_case(&case, &mesh);
        let (start, _) = equilibrium(&device).expect("equilibrium");
        for [first, last] in [[-0.5, -1.1], [1.0, 7.0]] {
            let mut system = driven(&device, "top");
            let (mut state, mut lambda) = (start.clone(), 0.0);
            for v in [first, last] {
                walk(&mut system, &mut state, &mut lambda, v, 0.5)
                    .unwrap_or_else(|e| panic!("{v} V: {e} {:?}", case.laws));
                let [sum, largest] = system.imbalance();
                worst_charge = worst_charge.max(sum / largest);
                if !device.has_heat() {
                    continue;
                }
                let [electric, heat] = powers(&device, &system, &state);
                let hottest = state.hottest(&device);
                let off = (electric - heat).abs() / electric;
                assert!(electric > 0.0);
                if off > 1e-10 {
                    println!("{v} V: {electric:.6e} {heat:.6e} W/µm, {off:.1e}, {:?}", case.laws);
                }
                worst_energy = worst_energy.max(off);
                if v == -1.1 {
                    println!("{v} V: {electric:.3e} W/µm, hottest {hottest:.2} K");
                    assert!(hottest > 305.0, "{hottest}");
                }
            }
        }
    }
    println!("worst |ΣI|/max|I| {worst_charge:.1e}, worst |ΣVI − heat|/ΣVI {worst_energy:.1e}");
    assert!(worst_charge < 1e-10, "{worst_charge:e}");
    assert!(worst_energy < 1e-9, "{worst_energy:e}");
}

/// Built-in potential of a degenerate abrupt junction: V_T (F⁻¹(N_D/N_c) + F⁻¹(N_A/N_v)) +
/// E_g, from the bands' own edges (Sze, Physics of Semiconductor Devices, 2.2).
#[test]
fn built_in_potential_of_a_degenerate_junction() {
    let (mut case, mesh) = read(
        "temperature = 300\n[wafer]\nspan = 1\nthickness = 1\nacceptors = 8e19\n\
         [[well]]\nname = \"n\"\ndonors = 3e20\nfrom = 0\nto = 0.5\nshape = \"box\"\n\
         [[terminal]]\nname = \"l\"\ntouches = [{ side = \"left\" }]\n\
         [[terminal]]\nname = \"r\"\ntouches = [{ side = \"right\" }]\n\
         [laws]\nstatistics = \"fermi-dirac\"\nnarrowing = \"none\"\n\
         [grid]\nx = [0, 0.1, 0.2, 0.3, 0.4, 0.45, 0.48, 0.49, 0.5, 0.51, 0.52, 0.55, 0.6, 0.8, 1.0]\ny = [0, 1]\n",
    );
    case.laws.narrowing = Narrowing::None;
    let device = Device::of_case(&case, &mesh);
    let (state, _) = equilibrium(&device).expect("equilibrium");
    let silicon = &device.silicon;
    let inverse = |n: f64, states: f64| FermiIntegrals::inverse(n / states).0;
    let n_c = silicon.intrinsic.conduction_states(300.0).value;
    let n_v = silicon.intrinsic.valence_states(300.0).value;
    let formula = silicon.vt * (inverse(2.2e20, n_c) + inverse(8e19, n_v)) + silicon.gap;
    let ours = state
        .psi
        .difference(device.contacts[0].nodes[0] as usize, device.contacts[1].nodes[0] as usize);
    println!("built-in potential: formula {formula:.9} V, ours {ours:.9} V");
    assert!((ours - formula).abs() < 1e-9, "{ours} {formula}");
    let dilute = silicon.vt * (2.2e20f64.ln() + 8e19f64.ln() - 2.0 * silicon.ni.ln());
    assert!(formula > dilute + 0.02, "degeneracy counts here");
}

/// A bar heated evenly by its own current, its ends at ambient: Kirchhoff's transform,
/// ∫κ dT from the ends to the middle = p L²/8 (Carslaw, Jaeger, Conduction of Heat in
/// Solids: a slab with heat produced in it).
#[test]
fn hottest_point_of_a_resistor() {
    let x: Vec<f64> = (0..=80).map(|i| f64::from(i) * 0.25).collect();
    let (case, mesh) = read(&format!(
        "temperature = 300\n[wafer]\nspan = 20\nthickness = 1\ndonors = 1e18\n\
         [[terminal]]\nname = \"l\"\ntouches = [{{ side = \"left\" }}]\n\
         [[terminal]]\nname = \"r\"\ntouches = [{{ side = \"right\" }}]\n\
         [laws]\nmobility = \"constant\"\nsaturation = \"none\"\nnarrowing = \"none\"\n\
         recombination = []\navalanche = \"none\"\nheat = \"self-heating\"\n\
         [heat]\nterminals = 1e-9\n[grid]\nx = {x:?}\ny = [0, 1]\n"
    ));
    let device = Device::of_case(&case, &mesh);
    let (mut state, _) = equilibrium(&device).expect("equilibrium");
    let mut system = driven(&device, "l");
    let mut lambda = 0.0;
    walk(&mut system, &mut state, &mut lambda, 2.0, 0.5).expect("ramp");
    let [electric, heat] = powers(&device, &system, &state);
    assert!((electric / heat - 1.0).abs() < 1e-10);
    let node = |i: usize| mesh.node(i, 0).expect("node");
    let hottest = state.hottest(&device);
    assert_eq!(hottest, state.temperature.hi[node(40)]);
    // Power per volume [W/cm³]; length 20 µm, face 1 µm.
    let production = electric / PER_UM / (20e-4 * 1e-4);
    let wanted = production * (20e-4f64).powi(2) / 8.0;
    let (steps, ambient) = (20_000, state.temperature.hi[node(0)]);
    let dt = (hottest - ambient) / f64::from(steps);
    let integral: f64 = (0..steps)
        .map(|k| device.silicon.heat.conductivity(ambient + (f64::from(k) + 0.5) * dt).value * dt)
        .sum();
    println!("hottest {hottest:.3} K, ∫κ dT {integral:.6e} W/cm, p L²/8 {wanted:.6e} W/cm");
    assert!(hottest > 350.0);
    assert!((integral / wanted - 1.0).abs() < 1e-3, "{integral:e} {wanted:e}");
}

fn snapback(text: &str) -> Outcome {
    let (case, mesh) = read(text);
    let device = Device::of_case(&case, &mesh);
    let (start, _) = equilibrium(&device).expect("equilibrium");
    let options = RunOptions::default();
    run_experiment(&case, &device, &start, &case.experiments[0], options, None, &mut KeepNothing)
        .expect("setup")
}

fn bar(extra: &str) -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/four-layer-bar.toml");
    let text = std::fs::read_to_string(path).unwrap().replace("nodes = 3200", "nodes = 200");
    text.replace("lifetime = \"constant\"", &format!("lifetime = \"constant\"\n{extra}"))
}

/// The four-layer bar with heat: the same trigger (it is cold), a holding point and an
/// on-branch moved by the lattice, and a second, thermal snapback.
#[test]
fn s_curve_with_heat() {
    let cold = snapback(&bar(""));
    let hot = snapback(&bar("heat = \"self-heating\"\n[heat]\nterminals = \"0.01 K*cm^2/W\"\n"));
    let of = |o: &Outcome| {
        assert_eq!(o.status, Status::Complete);
        match &o.figures {
            Figures::Snapback { trigger, holding, .. } => {
                [trigger.clone().unwrap(), holding.clone().unwrap()]
            }
            other => panic!("{other:?}"),
        }
    };
    let ([t_cold, h_cold], [t_hot, h_hot]) = (of(&cold), of(&hot));
    println!(
        "cold {:.4} / {:.4} V, {} points, hot {:.4} / {:.4} V, {} points, {} Newton steps",
        t_cold.voltage,
        h_cold.voltage,
        cold.curve.len(),
        t_hot.voltage,
        h_hot.voltage,
        hot.curve.len(),
        hot.work.newton_steps
    );
    assert!((t_hot.voltage / t_cold.voltage - 1.0).abs() < 1e-5);
    assert!(h_hot.voltage < h_cold.voltage - 0.005, "heat lowers the junctions' voltages");
    let kinds: Vec<FoldKind> = hot.folds.iter().map(|f| f.kind).collect();
    use FoldKind::{VoltageMaximum, VoltageMinimum};
    assert_eq!(kinds, [VoltageMaximum, VoltageMinimum, VoltageMaximum], "thermal snapback");
    assert_eq!(cold.folds.len(), 2);
    let (points, steps) = (hot.curve.len(), hot.work.newton_steps);
    assert!(points <= 200 && steps as f64 <= 7.0 * points as f64, "{points} points, {steps} steps");
    assert!(hot.curve.conservation() < 1e-10);
    let end = hot.fields.last().unwrap();
    let hottest = end.state.temperature.iter().copied().fold(0.0, f64::max);
    println!("hottest at the end {hottest:.0} K");
    assert!(hottest > 600.0 && hottest < 1200.0);
}

/// Where the lattice passes 1200 K the trace stops and says why.
#[test]
fn a_trace_stops_where_the_lattice_is_too_hot() {
    let hot = snapback(&bar("heat = \"self-heating\"\n[heat]\nterminals = \"0.1 K*cm^2/W\"\n"));
    match &hot.status {
        Status::Stopped(reason) => assert!(reason.contains("1200 K"), "{reason}"),
        other => panic!("{other:?}"),
    }
    assert!(hot.folds.len() >= 2 && hot.curve.len() > 50);
}

/// One back contact and a gate: nothing flows, every bias point is exact.
#[test]
fn mos_capacitor() {
    let (case, mesh) = read(
        "temperature = 300\n[wafer]\nspan = 1\nthickness = 2\nacceptors = 1e17\n\
         [[gate]]\nname = \"gate\"\nfrom = 0\nto = 1\noxide = \"10 nm\"\nplate = \"n+ poly\"\n\
         [[terminal]]\nname = \"bulk\"\ntouches = [{ side = \"back\" }]\n\
         [grid]\nnodes = 600\n[[experiment]]\nkind = \"bias\"\ndrive = [\"gate\"]\n\
         at = [-3, -1, 0, 1, 2, 3.3]\n[[experiment]]\nkind = \"bias\"\ndrive = [\"bulk\"]\n\
         at = [-2, 1]\nbias = { gate = 1.5 }\n",
    );
    for case in variants(&case) {
        let device = Device::of_case(&case, &mesh);
        let (start, _) = equilibrium(&device).expect("equilibrium");
        let mut most = [0.0; 2];
        for (k, e) in case.experiments.iter().enumerate() {
            let options = RunOptions::default();
            let outcome =
                run_experiment(&case, &device, &start, e, options, None, &mut KeepNothing)
                    .expect("setup");
            assert_eq!(outcome.status, Status::Complete, "{:?}", case.laws);
            let Figures::Bias { points } = &outcome.figures else { panic!() };
            assert!(points.iter().all(|p| p.at_terminals.current.iter().all(|i| *i == 0.0)));
            let end = outcome.fields.last().expect("fields");
            most[k] = end.electrons.iter().copied().fold(0.0, f64::max);
        }
        // 3.3 V and 0.5 V from gate to bulk: inversion, then depletion.
        assert!(most[0] > 1e19 && most[1] < 0.1 * most[0], "{most:?}");
    }
}

/// A checkpoint holds the state of a heated device to the last bit.
#[test]
fn a_heated_state_comes_back_to_the_bit() {
    let (case, mesh) = read(DIODE);
    let case = variants(&case).pop().expect("all laws on");
    assert_eq!(case.laws.heat, Heat::SelfHeating);
    let device = Device::of_case(&case, &mesh);
    let (mut state, _) = equilibrium(&device).expect("equilibrium");
    let (mut system, mut lambda) = (driven(&device, "top"), 0.0);
    walk(&mut system, &mut state, &mut lambda, -0.9, 0.5).expect("bias");
    let words = state.words();
    assert!(words.temperature.iter().any(|t| *t > 300.5));
    assert!(words.temperature_low.iter().any(|t| *t != 0.0));
    let back = State::from_words(&device, &words, &state.volts).expect("it fits");
    assert_eq!(back, state);
    let cold = Device::new(&mesh, device.silicon.clone());
    assert!(State::from_words(&cold, &words, &state.volts).is_none(), "another device");
}

/// The whole S-curve at both ends of the ambient range: with the full set of laws at
/// ambient temperature, with heat and the basic set, with heat and the full set. The whole
/// grid of laws and temperatures is in `ambient_range.rs`.
#[test]
fn s_curves_from_233_to_448_k() {
    for kelvin in ["233 K", "448 K"] {
        at_ambient(kelvin, FULL_SET);
        at_ambient(kelvin, &(BASIC_SET.to_string() + WITH_HEAT));
    }
}

#[test]
fn s_curves_with_heat_and_the_full_set() {
    for kelvin in ["233 K", "448 K"] {
        at_ambient(kelvin, &(FULL_SET.to_string() + WITH_HEAT));
    }
}

const FULL_SET: &str = "mobility = \"klaassen-1992\"\nnarrowing = \"klaassen-1992\"\n\
    statistics = \"fermi-dirac\"\ndopants = \"incomplete\"\n\
    recombination = [\"shockley-read-hall\", \"auger\", \"surface\"]\n";
const BASIC_SET: &str = "mobility = \"masetti-1983\"\nnarrowing = \"slotboom-1977\"\n";
const WITH_HEAT: &str = "heat = \"self-heating\"\n[heat]\nterminals = \"0.001 K*cm^2/W\"\n";

fn at_ambient(kelvin: &str, laws: &str) {
    let text = bar(laws).replace("temperature = \"300 K\"", &format!("temperature = \"{kelvin}\""));
    let outcome = snapback(&text);
    assert_eq!(outcome.status, Status::Complete, "{kelvin} {laws}");
    let Figures::Snapback { trigger, holding, .. } = &outcome.figures else { panic!() };
    let (t, h) = (trigger.clone().unwrap(), holding.clone().unwrap());
    println!(
        "{kelvin}: trigger {:.3} V, holding {:.4} V, {} points, {} Newton steps, conservation {:.1e}",
        t.voltage,
        h.voltage,
        outcome.curve.len(),
        outcome.work.newton_steps,
        outcome.curve.conservation()
    );
    assert!(t.voltage > 15.0 && h.voltage < 2.0);
    assert!(outcome.curve.conservation() < 1e-10);
}
