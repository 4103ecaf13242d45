//! The controller's numbers in a snapshot.

use super::model::Work;

/// Numbers before the lists.
const HEAD: usize = 19;

/// What a trace needs beside its state to go on.
pub(super) struct Control {
    pub points: usize,
    pub folds: usize,
    pub fields: usize,
    pub lambda: [f64; 2],
    pub step: f64,
    pub direction: Vec<f64>,
    pub work: Work,
    pub volts_low: Vec<f64>,
}

impl Control {
    pub fn write(&self) -> Vec<f64> {
        let w = &self.work;
        let mut v = vec![
            self.points as f64,
            self.folds as f64,
            self.fields as f64,
            self.lambda[0],
            self.lambda[1],
            self.step,
            w.newton_steps as f64,
            w.factorizations as f64,
            w.refinements as f64,
            w.gummel_rounds as f64,
            w.halvings as f64,
            w.chord_steps as f64,
            w.walk_steps as f64,
            w.fold_steps as f64,
            w.refinements_needed as f64,
            w.krylov_cycles as f64,
            w.tangent_sweeps as f64,
            w.pivoted_fronts as f64,
            w.general_factorizations as f64,
        ];
        v.extend(&self.volts_low);
        v.extend(&self.direction);
        v
    }

    pub fn read(v: &[f64]) -> Option<Control> {
        let head = v.get(..HEAD)?;
        // What follows are low words by contact, then the direction: two more than that.
        let lists = (v.len() - HEAD).checked_sub(2)?;
        // Odd: a checkpoint with another head.
        let contacts = (lists % 2 == 0).then_some(lists / 2)?;
        Some(Control {
            points: head[0] as usize,
            folds: head[1] as usize,
            fields: head[2] as usize,
            lambda: [head[3], head[4]],
            step: head[5],
            direction: v[HEAD + contacts..].to_vec(),
            work: Work {
                newton_steps: head[6] as u64,
                factorizations: head[7] as u64,
                refinements: head[8] as u64,
                gummel_rounds: head[9] as u64,
                halvings: head[10] as u64,
                chord_steps: head[11] as u64,
                walk_steps: head[12] as u64,
                fold_steps: head[13] as u64,
                refinements_needed: head[14] as u64,
                krylov_cycles: head[15] as u64,
                tangent_sweeps: head[16] as u64,
                pivoted_fronts: head[17] as u64,
                general_factorizations: head[18] as u64,
            },
            volts_low: v[HEAD..HEAD + contacts].to_vec(),
        })
    }
}
