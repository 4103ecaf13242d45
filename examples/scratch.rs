use holdpoint::trace::*;
use holdpoint::*;
struct Printer(bool);
impl Keeper for Printer {
    fn point(&mut self, s: &Standing) -> Next {
        let k = s.curve.len() - 1;
        if self.0 {
            println!(
                "{k} V={:.6} I={:.4e} newton={} cons={:.1e} Vs {:?}",
                s.curve.voltage[k],
                s.curve.current[k],
                s.curve.newton[k],
                s.curve.imbalance[k] / s.curve.largest[k],
                s.curve.at_terminals[k]
                    .voltage
                    .iter()
                    .map(|v| format!("{v:.2}"))
                    .collect::<Vec<_>>()
                    .join(" ")
            );
        }
        Next::GoOn
    }
    fn checkpoint(&mut self, _: &Standing, _: &Snapshot) -> Result<(), String> {
        Ok(())
    }
}
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let text = std::fs::read_to_string(&a[1]).unwrap();
    let (mut case, w) = case::read_str(&text, &a[1])
        .map_err(|p| panic!("{}", case::render(&p, &text, &a[1], false)))
        .unwrap();
    if let Some(n) = a.get(2) {
        let n: usize = n.parse().unwrap();
        if n > 0 {
            case.grid.nodes = Some(n);
        }
    }
    let t = std::time::Instant::now();
    println!("{}", case::render(&w, &text, &a[1], false));
    let (st, w) = structure::Structure::new(&case)
        .map_err(|p| panic!("{}", case::render(&p, &text, &a[1], false)))
        .unwrap();
    println!("{}", case::render(&w, &text, &a[1], false));
    let (mesh, w) = mesh::build(&case, &st)
        .map_err(|p| panic!("{}", case::render(&p, &text, &a[1], false)))
        .unwrap();
    println!("{}", case::render(&w, &text, &a[1], false));
    println!("mesh {} {}x{} {:?}", mesh.nodes(), mesh.nx(), mesh.ny(), t.elapsed());
    for l in mesh::Quality::new(&case, &st, &mesh).lines() {
        println!("{l}");
    }
    let device = discretize::Device::new(&mesh, silicon::Silicon::of_case(&case));
    let (eq, info) = solve::equilibrium(&device).unwrap();
    println!("equilibrium {} steps {:?}", info.steps, t.elapsed());
    let only: Option<usize> = a.get(3).and_then(|s| s.parse().ok());
    for (k, e) in case.experiments.iter().enumerate() {
        if only.is_some_and(|o| o != k) {
            continue;
        }
        let t = std::time::Instant::now();
        let mut p = Printer(std::env::var("V").is_ok());
        let o = experiment::run_experiment(
            &case,
            &device,
            &eq,
            e,
            experiment::RunOptions::default(),
            None,
            &mut p,
        )
        .unwrap();
        println!(
            "{} {:?} {} points {:.2?} {:?} cons {:.1e}",
            o.kind,
            o.status,
            o.curve.len(),
            t.elapsed(),
            o.work,
            o.curve.conservation()
        );
        for f in &o.folds {
            println!("  {:?} V={:.6} I={:.6e}", f.kind, f.voltage, f.current);
        }
        match &o.figures {
            experiment::Figures::Bias { points } => {
                for p in points {
                    println!("  {} {:?}", p.applied, p.at_terminals.current)
                }
            }
            f => {
                let s = format!("{f:?}");
                println!("{}", &s[..s.len().min(1500)])
            }
        }
        for w in &o.warnings {
            println!("  warning: {w}");
        }
    }
}
