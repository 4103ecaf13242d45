//! Small cases for the tests of follows, rules and spreads.
#![allow(dead_code)]

use std::path::Path;

use holdpoint::case::{Case, read_beside};
use holdpoint::discretize::Device;
use holdpoint::experiment::{Outcome, RunOptions, run_experiment};
use holdpoint::mesh::{Mesh, build};
use holdpoint::solve::equilibrium;
use holdpoint::structure::Structure;
use holdpoint::trace::KeepNothing;

pub fn text(name: &str, nodes: usize) -> String {
    let text = std::fs::read_to_string(format!("meshes/{name}.toml")).expect("a shipped case");
    let mut out: Vec<String> = Vec::new();
    for line in text.lines() {
        match line.trim_start().starts_with("nodes") {
            true => out.push(format!("nodes = {nodes}")),
            false => out.push(line.to_string()),
        }
    }
    out.join("\n") + "\n"
}

pub fn read(text: &str) -> Case {
    read_beside(text, Path::new("meshes/test.toml")).expect("a good case").0
}

/// A case with its mesh, device and traced curves.
pub struct Traced {
    pub case: Case,
    pub mesh: Mesh,
    pub device: Device,
    pub outcomes: Vec<Outcome>,
}

impl Traced {
    pub fn new(text: &str) -> Traced {
        let case = read(text);
        let (structure, _) = Structure::new(&case).expect("a structure");
        let (mesh, _) = build(&case, &structure).expect("a mesh");
        Traced::on(case, mesh)
    }

    pub fn on(case: Case, mesh: Mesh) -> Traced {
        let device = Device::of_case(&case, &mesh);
        let (rest, _) = equilibrium(&device).expect("an equilibrium");
        let outcomes = case
            .experiments
            .iter()
            .map(|e| {
                let keeper = &mut KeepNothing;
                run_experiment(&case, &device, &rest, e, RunOptions::default(), None, keeper)
                    .expect("a run")
            })
            .collect();
        Traced { case, mesh, device, outcomes }
    }

    /// Voltage [V] and current [A/µm] of a named point.
    pub fn point(&self, name: &str) -> Option<(f64, f64)> {
        self.outcomes.iter().find_map(|o| {
            let (_, found) = o.points().into_iter().find(|(n, _)| *n == name)?;
            found.as_ref().ok().map(|f| (f.voltage, f.current))
        })
    }

    pub fn factorizations(&self) -> u64 {
        self.outcomes.iter().map(|o| o.work.factorizations).sum()
    }
}
