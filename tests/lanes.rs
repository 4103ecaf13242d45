//! The functions and laws that run in vector registers against the C library's functions
//! and the general laws.

use holdpoint::case::{self, Constants, Mobility, Saturation};
use holdpoint::discretize::{Assembly, CarrierFlow, Device, EdgeFlow, Tie};
use holdpoint::mesh;
use holdpoint::silicon::{Carrier, MobilityLaw, MobilityPoint, SaturationLaw, lanes};
use holdpoint::solve::equilibrium;
use holdpoint::structure::Structure;

const PAD: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/meshes/tern180-pad.toml");

const CARRIERS: [Carrier; 2] = [Carrier::Electron, Carrier::Hole];

/// Largest relative difference, in units of the last place.
fn worst(ours: fn(f64) -> f64, theirs: fn(f64) -> f64, at: impl Iterator<Item = f64>) -> f64 {
    at.map(|x| ((ours(x) - theirs(x)) / theirs(x)).abs() / f64::EPSILON).fold(0.0, f64::max)
}

#[test]
fn functions_to_the_last_digits() {
    let both = |x: f64| [x, -x].into_iter();
    let exponents = (0..200_000).map(|k| 1e-18 * (1.000_23f64).powi(k)).filter(|x| *x < 700.0);
    let off = worst(lanes::exp_m1, f64::exp_m1, exponents.clone().flat_map(both));
    println!("expm1: {off:.2} units");
    assert!(off < 2.0, "{off}");
    let off = worst(lanes::exp, f64::exp, exponents.flat_map(both));
    println!("exp: {off:.2} units");
    assert!(off < 2.0, "{off}");
    let wide = (0..600_000).map(|k| 1e-300 * (1.002_3f64).powi(k)).filter(|x| *x < 1e300);
    let off = worst(lanes::ln, f64::ln, wide.filter(|x| *x != 1.0));
    println!("ln: {off:.2} units");
    assert!(off < 2.0, "{off}");
    assert_eq!(lanes::exp_m1(0.0), 0.0);
    assert_eq!(lanes::ln(1.0), 0.0);
    assert_eq!(lanes::exp(0.0), 1.0);
    assert!(lanes::exp(f64::NAN).is_nan() && lanes::exp(-1e300) < 1e-300);
    assert!(lanes::ln(0.0) < -700.0);
}

#[test]
fn klaassen_at_ambient() {
    let mut worst = [0.0f64; 3];
    for ambient in [250.0, 300.0, 398.15] {
        let law = MobilityLaw::new(Mobility::Klaassen1992, &Constants::default(), ambient);
        for carrier in CARRIERS {
            let fast = law.ambient(carrier).expect("looks at the carriers");
            let densities = [0.0, 1e2, 1e10, 1e15, 1e17, 3e18, 1e20, 7e20];
            for (donors, acceptors) in
                densities.iter().flat_map(|d| densities.iter().map(move |a| (*d, *a)))
            {
                let ions = law.scatterers(donors, acceptors);
                for (n, p) in densities.iter().flat_map(|n| densities.iter().map(move |p| (*n, *p)))
                {
                    let at = MobilityPoint { donors, acceptors, n, p, temperature: ambient };
                    let slow = law.at(carrier, &at);
                    let (k, others) = if carrier == Carrier::Electron { (0, p) } else { (1, n) };
                    let [value, by_others, by_both] = fast.at(ions[k], ions[1 - k], others, n + p);
                    let by = [by_both, by_both + by_others];
                    let (by_own, by_other) =
                        if k == 0 { (slow.by_n, slow.by_p) } else { (slow.by_p, slow.by_n) };
                    // A derivative counts by what a doubled density would change: where
                    // scattering hardly counts the general law's cancel.
                    let size = |density: f64| slow.value / density.max(1.0);
                    let (own, other) = if k == 0 { (n, p) } else { (p, n) };
                    let off = [
                        (value / slow.value - 1.0).abs(),
                        (by[0] - by_own).abs() / size(own),
                        (by[1] - by_other).abs() / size(other),
                    ];
                    for (w, o) in worst.iter_mut().zip(off) {
                        assert!(o.is_finite(), "{at:?}");
                        *w = w.max(o);
                    }
                }
            }
        }
    }
    println!("value {:.1e}, derivatives {:.1e}, {:.1e}", worst[0], worst[1], worst[2]);
    assert!(worst[0] < 2e-13 && worst[1] < 2e-12 && worst[2] < 2e-12, "{worst:?}");
}

#[test]
fn saturation_at_ambient() {
    let law = SaturationLaw::new(Saturation::Canali1975, &Constants::default(), 320.0);
    for carrier in CARRIERS {
        let fast = law.ambient(carrier).expect("in force");
        for mu in [3.0, 70.0, 1400.0] {
            for field in [0.0, 1e-12, 1.0, 1e3, 2.7e4, 1e6, 1e9f64] {
                let slow = law.at(carrier, mu, field, 320.0);
                let [value, by_mu_0, by_log_field] = fast.at(mu, field);
                assert!((value / slow.value - 1.0).abs() < 1e-13, "{mu} {field}");
                assert!((by_mu_0 - slow.by_mu_0).abs() < 1e-13, "{mu} {field}");
                let off = (by_log_field - slow.by_log_field).abs() / slow.value;
                assert!(off < 1e-13, "{mu} {field}: {off:e}");
            }
        }
    }
}

/// Relative differences of current and derivatives; a current is judged by what its two
/// ends add to it.
fn differences(fast: &CarrierFlow, slow: &CarrierFlow, ends: [f64; 2]) -> f64 {
    let flow = slow.rate[0] * ends[0] + slow.rate[1] * ends[1];
    let mut worst = (fast.current - slow.current).abs() / slow.current.abs().max(1e-2 * flow);
    for (fast, slow) in fast.rate.iter().zip(slow.rate) {
        worst = worst.max((fast / slow - 1.0).abs());
    }
    for (e, (fast, slow)) in fast.by.iter().zip(slow.by).enumerate() {
        for (u, (f, s)) in fast.iter().zip(slow).enumerate() {
            // By ψ in units of V_T; by the other carrier as if it were as dense.
            let unit = if u == 0 { 0.02 } else { ends[e] };
            worst = worst.max((f - s).abs() * unit / (s.abs() * unit).max(flow));
        }
    }
    worst
}

#[test]
fn flows_of_the_pad_equal_the_general_law() {
    let (mut case, _) = case::read_file(PAD.as_ref()).unwrap_or_else(|p| panic!("{p:?}"));
    for (mobility, saturation) in [
        (Mobility::Klaassen1992, Saturation::Canali1975),
        (Mobility::Klaassen1992, Saturation::None),
        (Mobility::Masetti1983, Saturation::Canali1975),
        (Mobility::Constant, Saturation::None),
    ] {
        (case.laws.mobility, case.laws.saturation) = (mobility, saturation);
        let (structure, _) = Structure::new(&case).unwrap_or_else(|p| panic!("{p:?}"));
        let (mesh, _) = mesh::build(&case, &structure).unwrap_or_else(|p| panic!("{p:?}"));
        let device = Device::of_case(&case, &mesh);
        let (mut state, _) = equilibrium(&device).expect("equilibrium");
        // Fields, splits and currents of every size.
        let vt = device.silicon.vt;
        for i in 0..device.nodes() {
            if device.ties[i] != Tie::Free || !device.has_silicon(i) {
                continue;
            }
            let k = i as f64;
            let small = 10f64.powf(-7.0 + 7.0 * (0.37 * k).sin());
            state.psi.add(i, vt * (3.0 * (0.7 * k).sin() + 0.2 * (1.3 * k).cos()));
            state.phi_n.add(i, vt * (8.0 * (0.003 * k).sin() + small));
            state.phi_p.add(i, vt * (-8.0 * (0.004 * k).sin() - small));
        }
        state.refresh(&device);
        let mut assembly = Assembly::new(&device);
        assembly.evaluate(&device, &state, false);
        let mut worst = 0.0f64;
        for (edge, fast) in device.edges.iter().zip(&assembly.edges) {
            let slow = EdgeFlow::new(&device, &state, edge);
            assert_eq!(fast.drop, slow.drop);
            assert!((fast.field - slow.field).abs() <= 1e-15 * slow.field.abs());
            if edge.face == 0.0 {
                assert_eq!(fast.n.current, 0.0);
                continue;
            }
            let ends = |d: &[f64]| [d[edge.a as usize], d[edge.b as usize]];
            let off = differences(&fast.n, &slow.n, ends(&state.n)).max(differences(
                &fast.p,
                &slow.p,
                ends(&state.p),
            ));
            assert!(off.is_finite());
            worst = worst.max(off);
        }
        println!("{mobility:?}, {saturation:?}: {worst:.1e}");
        assert!(worst < 1e-11, "{mobility:?} {saturation:?}: {worst:e}");
    }
}
