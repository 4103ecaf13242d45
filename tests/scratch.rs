use holdpoint::case::*;
use holdpoint::discretize::*;
use holdpoint::mesh::*;
use holdpoint::silicon::*;
use holdpoint::solve::*;

pub fn bar(layers: &[(f64, f64)], per: usize) -> Mesh {
    let mut x = vec![0.0];
    let mut net_at = vec![];
    let mut pos = 0.0;
    for &(t, n) in layers {
        for k in 1..=per {
            let s = k as f64 / per as f64;
            let g = 0.5 - 0.5 * ((1.0 - 2.0 * s) * 1.5f64).sin() / 1.5f64.sin();
            let g = if k == per { 1.0 } else { g.clamp(0.0, 1.0) };
            x.push(pos + t * g);
        }
        pos += t;
        net_at.push((pos, n));
    }
    let y = vec![0.0, 0.5, 1.0];
    let (nx, ny) = (x.len(), y.len());
    let doping = |xx: f64| {
        net_at.iter().find(|(p, _)| xx < *p + 1e-12).map_or(net_at[net_at.len() - 1].1, |v| v.1)
    };
    let mut d = Doping::default();
    for _j in 0..ny {
        for i in 0..nx {
            let l = if i > 0 { x[i] - x[i - 1] } else { 0.0 };
            let r = if i + 1 < nx { x[i + 1] - x[i] } else { 0.0 };
            let nl = doping(x[i] - 1e-9);
            let nr = doping(x[i] + 1e-9);
            let (mut dn, mut da) = (0.0, 0.0);
            if nl > 0.0 {
                dn += nl * l / (l + r)
            } else {
                da -= nl * l / (l + r)
            }
            if nr > 0.0 {
                dn += nr * r / (l + r)
            } else {
                da -= nr * r / (l + r)
            }
            d.donors.push(dn);
            d.acceptors.push(da);
            d.donors_at.push(nl.max(0.0));
            d.acceptors_at.push((-nl).max(0.0));
        }
        for i in 0..nx - 1 {
            d.total_x.push(doping(0.5 * (x[i] + x[i + 1])).abs());
        }
    }
    for _ in 0..ny - 1 {
        for i in 0..nx {
            d.total_y.push(doping(x[i]).abs());
        }
    }
    let n = nx * ny;
    let side = |i: usize| (0..ny).map(|j| (j * nx + i) as u32).collect::<Vec<_>>();
    Mesh {
        cells: vec![Material::Silicon; (nx - 1) * (ny - 1)],
        node_at: (0..n).map(|k| Some(k as u32)).collect(),
        grid_of: (0..n as u32).collect(),
        terminals: vec![
            TerminalNodes { name: "anode".into(), kind: ContactKind::Ohmic, nodes: side(0) },
            TerminalNodes { name: "cathode".into(), kind: ContactKind::Ohmic, nodes: side(nx - 1) },
        ],
        x,
        y,
        doping: d,
    }
}

#[test]
fn diode() {
    let mesh = bar(&[(2.0, -1e18), (4.0, 1e16)], 40);
    let laws = Laws { mobility: Mobility::Constant, ..Laws::default() };
    let device = Device::new(&mesh, Silicon::new(&laws, &Constants::default(), 300.0));
    let (mut state, info) = equilibrium(&device).unwrap();
    println!("eq {:?}", info.updates);
    let src = |base, slope| Tying::Source { base, slope, resistance: 0.0 };
    let circuit = Circuit { ties: vec![src(0.0, 1.0), src(0.0, 0.0)], drive: vec![0] };
    let mut system = System::new(&device, circuit).unwrap();
    system.assembly.evaluate(&device, &state, false);
    println!("eq currents {:?}", system.assembly.currents);
    let mut lambda = [0.0; 2];
    let eq = state.clone();
    for v in [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0] {
        let r = system.newton(&mut state, &mut lambda, Constraint::Voltage(v));
        println!(
            "{v} {:?} I={:.6e} {:?}",
            r.as_ref().map(|i| (i.steps, i.updates.clone())).map_err(|e| e.to_string()),
            system.drive_current(),
            system.imbalance()
        );
    }
    state = eq;
    for v in [-0.1, -0.5, -1.0, -2.0, -5.0, -10.0, -20.0, -30.0, -35.0] {
        let r = system.newton(&mut state, &mut lambda, Constraint::Voltage(v));
        println!(
            "{v} {:?} I={:.6e} {:?}",
            r.as_ref().map(|i| (i.steps, i.updates.clone())).map_err(|e| e.to_string()),
            system.drive_current(),
            system.imbalance()
        );
    }
}

use holdpoint::trace::*;
struct Printer;
impl Keeper for Printer {
    fn point(&mut self, s: &Standing) -> Next {
        let k = s.curve.len() - 1;
        println!(
            "{k} V={:.6} I={:.4e} newton={} cons={:.1e}",
            s.curve.voltage[k],
            s.curve.current[k],
            s.curve.newton[k],
            s.curve.imbalance[k] / s.curve.largest[k]
        );
        Next::GoOn
    }
    fn checkpoint(&mut self, _: &Standing, _: &Snapshot) -> Result<(), String> {
        Ok(())
    }
}

#[test]
fn pnpn() {
    let per: usize = std::env::var("PER").ok().and_then(|s| s.parse().ok()).unwrap_or(20);
    let mesh = bar(&[(2.0, -1e19), (2.5, 2e16), (0.6, -2e17), (2.0, 1e20)], per);
    let laws = Laws { mobility: Mobility::Constant, ..Laws::default() };
    let mut c = Constants::default();
    c.set("shockley-read-hall", "tau_n0", 1e-9);
    c.set("shockley-read-hall", "tau_p0", 1e-9);
    let device = Device::new(&mesh, Silicon::new(&laws, &c, 300.0));
    let (state, _) = equilibrium(&device).unwrap();
    let src = |base, slope| Tying::Source { base, slope, resistance: 0.0 };
    let circuit = Circuit { ties: vec![src(0.0, 1.0), src(0.0, 0.0)], drive: vec![0] };
    let mut system = System::new(&device, circuit).unwrap();
    let t = std::time::Instant::now();
    let b = follow(
        &mut system,
        Start::At { state: Box::new(state), lambda: [0.0; 2], towards: [1.0, 0.0] },
        Stop { current: Some(1e-2), voltage: None },
        &TraceParams::default(),
        &|_| false,
        &mut Printer,
    )
    .unwrap();
    println!("{:?} {:?}", b.end, t.elapsed());
    for f in &b.folds {
        println!("{:?} V={:.9} I={:.9e}", f.kind, f.voltage, f.current);
    }
    println!("{:?} points {}", system.work, b.curve.len());
}
#[test]
fn debug_pnpn() {
    let mesh = bar(&[(2.0, -1e19), (4.0, 2e16), (2.0, -2e17), (2.0, 1e20)], 20);
    for variant in 0..4 {
        let mut laws = Laws { mobility: Mobility::Constant, ..Laws::default() };
        if variant >= 1 {
            laws.avalanche = Avalanche::None;
        }
        if variant >= 2 {
            laws.saturation = Saturation::None;
        }
        if variant >= 3 {
            laws.auger = false;
        }
        let mut c = Constants::default();
        c.set("shockley-read-hall", "tau_n0", 1e-9);
        c.set("shockley-read-hall", "tau_p0", 1e-9);
        let device = Device::new(&mesh, Silicon::new(&laws, &c, 300.0));
        let (mut state, _) = equilibrium(&device).unwrap();
        let src = |base, slope| Tying::Source { base, slope, resistance: 0.0 };
        let circuit = Circuit { ties: vec![src(0.0, 1.0), src(0.0, 0.0)], drive: vec![0] };
        let mut system = System::new(&device, circuit).unwrap();
        let mut l = [0.0; 2];
        let r = system.newton(&mut state, &mut l, Constraint::Voltage(0.02));
        println!(
            "variant {variant} {:?} {:?}",
            r.map_err(|e| format!("{e:?}")),
            system.imbalance()
        );
        let nx = mesh.nx();
        let i_unit = system.imbalance()[1] / PER_UM;
        for i in 0..nx {
            let k = nx + i;
            let r = &system.assembly.residual;
            println!(
                "x={:.4} n={:.3e} p={:.3e} rn={:.2e} rp={:.2e} rpsi={:.2e} jn={:.3e} jp={:.3e}",
                mesh.x[i],
                state.n[k],
                state.p[k],
                r[3 * k + 1] / i_unit,
                r[3 * k + 2] / i_unit,
                r[3 * k] / 1.6e-19 / device.area[k].max(1e-30) / 1e17,
                system.assembly.edges.get(2 * k).map_or(0.0, |e| e.n.current),
                system.assembly.edges.get(2 * k).map_or(0.0, |e| e.p.current)
            );
        }
    }
}
#[test]
fn debug_plane() {
    let mesh = bar(&[(2.0, -1e19), (4.0, 2e16), (2.0, -2e17), (2.0, 1e20)], 20);
    let laws = Laws { mobility: Mobility::Constant, ..Laws::default() };
    let mut c = Constants::default();
    c.set("shockley-read-hall", "tau_n0", 1e-9);
    c.set("shockley-read-hall", "tau_p0", 1e-9);
    let device = Device::new(&mesh, Silicon::new(&laws, &c, 300.0));
    let (mut state, _) = equilibrium(&device).unwrap();
    let src = |base, slope| Tying::Source { base, slope, resistance: 0.0 };
    let circuit = Circuit { ties: vec![src(0.0, 1.0), src(0.0, 0.0)], drive: vec![0] };
    let mut system = System::new(&device, circuit).unwrap();
    let mut l = [0.0; 2];
    let scale = PlaneScale { voltage: 1.0, current: 1e-14 };
    let r = system.newton(&mut state, &mut l, Constraint::Voltage(0.02));
    println!(
        "{:?} {:?} I={}",
        r.map_err(|e| format!("{e:?}")),
        system.imbalance(),
        system.drive_current()
    );
    let p = Point::solved(&system, state.clone(), l, scale, [1.0, 0.0]).unwrap();
    println!(
        "dir {:?} I={} tangent {} {}",
        p.direction, p.current, p.tangent.lambda, p.tangent.current
    );
    for tries in 0..2 {
        system.params.steps = 12;
        system.params.imbalance_floor = 0.0;
        system.params.imbalance = 1e-14;
        let (mut s, mut l) = p.predict(&device, None, 0.01);

        let r = system.newton(
            &mut s,
            &mut l,
            if tries == 0 {
                Constraint::Voltage(0.03)
            } else {
                Constraint::Plane { scale, direction: p.direction, origin: p.place, step: 0.01 }
            },
        );
        println!("{:?} {:?} l={l:?}", r.map_err(|e| format!("{e:?}")), system.imbalance());
        let nx = mesh.nx();
        let i_unit = system.imbalance()[1] / PER_UM;
        for i in 0..nx {
            let k = nx + i;
            let r = &system.assembly.residual;
            println!(
                "x={:.4} n={:.3e} p={:.3e} rn={:.2e} rp={:.2e} rpsi={:.2e}",
                mesh.x[i],
                s.n[k],
                s.p[k],
                r[3 * k + 1] / i_unit,
                r[3 * k + 2] / i_unit,
                r[3 * k] / 1.6e-19 / device.area[k].max(1e-30) / 1e17
            );
        }
    }
}
