//! Fields of a solved state on the nodes.

use crate::discretize::{Cell, Device, NONE, State, generation};
use crate::silicon::{Carrier, Q};
use crate::solve::System;

use super::model::Fields;

/// All fields of `state`; fluxes are evaluated afresh in `system`'s workspace.
pub fn fields(
    system: &mut System,
    state: &State,
    label: &str,
    voltage: f64,
    current: f64,
) -> Fields {
    let device: &Device = system.device;
    system.assembly.evaluate(device, state, false);
    let n = device.nodes();
    let mut out = Fields {
        label: label.to_string(),
        voltage,
        current,
        state: state.words(),
        electrons: vec![0.0; n],
        holes: vec![0.0; n],
        electron_current_x: vec![0.0; n],
        electron_current_y: vec![0.0; n],
        hole_current_x: vec![0.0; n],
        hole_current_y: vec![0.0; n],
        recombination: vec![0.0; n],
        avalanche: vec![0.0; n],
    };
    for i in 0..n {
        if !device.has_silicon(i) {
            continue;
        }
        out.electrons[i] = state.n[i];
        out.holes[i] = state.p[i];
        // Mean over the edges in each direction that have a face in silicon.
        let mean = |directions: [usize; 2], electron: bool| {
            let (mut sum, mut count) = (0.0, 0.0);
            for d in directions {
                let e = device.node_edges[i][d];
                if e != NONE && device.edges[e as usize].face > 0.0 {
                    let flow = &system.assembly.edges[e as usize];
                    sum += if electron { flow.n.current } else { flow.p.current };
                    count += 1.0;
                }
            }
            if count > 0.0 { sum / count } else { 0.0 }
        };
        out.electron_current_x[i] = mean([0, 1], true);
        out.electron_current_y[i] = mean([2, 3], true);
        out.hole_current_x[i] = mean([0, 1], false);
        out.hole_current_y[i] = mean([2, 3], false);
        let (at, _) = state.recombination_point(device, i);
        let surface = device.silicon.surface.rate(&at).rate * device.interface[i] / device.area[i];
        out.recombination[i] = device.silicon.recombination.rate(&at).rate + surface;
        let mut rate = 0.0;
        for q in device.quarters[i].iter().filter(|q| q.area > 0.0) {
            let [x, y] = [q.x_direction, q.y_direction]
                .map(|d| &system.assembly.edges[device.node_edges[i][d as usize] as usize]);
            let field = [x.field, y.field];
            for (carrier, current) in [
                (Carrier::Electron, [x.n.current, y.n.current]),
                (Carrier::Hole, [x.p.current, y.p.current]),
            ] {
                if let Some(g) =
                    generation(&device.silicon, carrier, Cell { current, field }, at.temperature)
                {
                    rate += q.area * g.rate;
                }
            }
        }
        out.avalanche[i] = rate / (Q * device.area[i]);
    }
    out
}
