mod structure_cases;
use holdpoint::mesh::{self, Quality};
use holdpoint::structure::Structure;
use structure_cases::*;

#[test]
fn explore() {
    for (name, mut case, budgets) in
        [("pad", pad(), [2000, 8000, 20000]), ("bar", bar(), [200, 800, 3200])]
    {
        let t = std::time::Instant::now();
        let (s, w) = match Structure::new(&case) {
            Ok(x) => x,
            Err(e) => {
                println!("{name} {e:#?}");
                continue;
            }
        };
        println!(
            "{name} structure {:?} warnings {:?}",
            t.elapsed(),
            w.iter().map(|p| &p.text).collect::<Vec<_>>()
        );
        for b in budgets {
            case.grid.nodes = Some(b);
            let t = std::time::Instant::now();
            match mesh::build(&case, &s) {
                Ok((m, w)) => {
                    println!("--- {name} {b}: {:?} {w:?}", t.elapsed());
                    for l in Quality::new(&case, &s, &m).lines() {
                        println!("  {l}")
                    }
                    if b <= 2000 {
                        println!("{:?}\n{:?}", m.x, m.y);
                    }
                }
                Err(e) => println!("{name} {b} {:?} {e:#?}", t.elapsed()),
            }
        }
    }
}
