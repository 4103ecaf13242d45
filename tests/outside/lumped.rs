//! The lumped two-transistor model against the published holding current, the shunted gain
//! product and the breakover voltage of a four-layer switch.

use holdpoint::extract::{Bipole, Characteristic, Lumped, Multiplication, Shunt, required_product};

use super::ledger::{Within, check};

/// V_BE of the published examples [V], at any current.
const V_BE: f64 = 0.7;
/// How far it moves per e-fold all the same [V].
const STEEP: f64 = 2e-6;

fn bipole(beta: f64) -> Bipole {
    let table = |scale: f64| {
        let at = |i: f64| [V_BE + STEEP * (i / 1e-3).ln(), scale * i];
        Characteristic::through(&[at(1e-12), at(1e-3), at(1e3)]).expect("a table")
    };
    Bipole {
        collector: table(1.0),
        base: table(1.0 / beta),
        inverse: Characteristic::None,
        emitter_resistance: 0.0,
    }
}

fn pair(beta: [f64; 2], substrate: f64, well: f64) -> Lumped {
    Lumped {
        npn: bipole(beta[0]),
        pnp: bipole(beta[1]),
        well: Shunt::single(well),
        substrate: Shunt::single(substrate),
        recombination: Characteristic::None,
        multiplication: None,
        leakage: 0.0,
    }
}

/// I_H = (β_n(β_p + 1) I_RS + β_p(β_n + 1) I_RW)/(β_n β_p − 1), shunt currents V_BE/R. The
/// resistances are ohms beside currents in amperes: the width drops out.
#[test]
fn holding_current_of_the_shunted_pair() {
    let published = [
        ([50.0, 2.0], 1e3, 2e3, 1.421212e-3),
        ([100.0, 0.5], 500.0, 500.0, 5.728571e-3),
        ([20.0, 10.0], 1e3, 1e3, 1.512563e-3),
        ([10.0, 0.2], 1e3, 1e3, 9.94e-3),
    ];
    for (beta, r_s, r_w, expected) in published {
        let model = pair(beta, r_s, r_w);
        let ours = model.sustaining([1e-7, 10.0]).expect("a product above one");
        let what = format!("I_H, gains {} and {}, {r_s} and {r_w} ohm [A]", beta[0], beta[1]);
        check("Troutman 1986, Estreich 1980", &what, expected, ours, Within::Relative(1e-4));
        // The shunted product at that current is the product itself.
        let required = required_product(beta, [V_BE / r_s, V_BE / r_w], expected);
        let what = format!("required product at I_H, gains {} and {}", beta[0], beta[1]);
        check(
            "course on digital circuits",
            &what,
            beta[0] * beta[1],
            required,
            Within::Relative(1e-6),
        );
        let conditions = model.conditions(ours);
        let what = format!("model's required product there, {} and {}", beta[0], beta[1]);
        check(
            "course on digital circuits",
            &what,
            beta[0] * beta[1],
            conditions.required,
            Within::Relative(1e-3),
        );
    }
}

#[test]
fn limits_of_the_holding_current() {
    let i = |m: Lumped| m.sustaining([1e-9, 1e3]);
    let one = i(pair([20.0, 10.0], 1e3, 1e3)).unwrap();
    let halved = i(pair([20.0, 10.0], 500.0, 500.0)).unwrap();
    check(
        "Kirchhoff",
        "I_H with both resistances halved, ratio",
        2.0,
        halved / one,
        Within::Relative(1e-4),
    );
    let high = i(pair([20.0, 10.0], 1e9, 1e9)).unwrap();
    check(
        "Kirchhoff",
        "I_H with shunts a million times larger, ratio",
        1e-6,
        high / one,
        Within::Relative(1e-3),
    );
    // A product of one or less holds nothing, whatever the current.
    assert!(i(pair([4.0, 0.25], 1e3, 1e3)).is_none());
    assert!(i(pair([0.5, 0.5], 1e3, 1e3)).is_none());
    let near = i(pair([4.0, 0.2501], 1e3, 1e3)).unwrap();
    assert!(near > 1000.0 * one, "{near}");
}

/// V_BF = V_B (1 − α_1 − α_2)^(1/m): 20 V, Σα = 0.5, m = 4 (Sze, Physics of Semiconductor
/// Devices, from memory). Without shunts, so that the gains act from the first current on.
#[test]
fn forward_breakover() {
    // α = 1/4 each is β = 1/3.
    let mut model = pair([1.0 / 3.0, 1.0 / 3.0], 1e15, 1e15);
    model.multiplication = Some(Multiplication { breakdown: 20.0, power: 4.0 });
    model.leakage = 1e-18;
    let at = model.at_current(1e-6).expect("avalanche carries any current");
    check(
        "Sze",
        "breakover of a four-layer switch [V]",
        16.818,
        at.junction,
        Within::Relative(1e-4),
    );
}

/// A supply under the critical injection leaves an off-state, above it none: forced into
/// the npn's base the critical current is V_BE/R_S beside a base current.
#[test]
fn injection_into_a_base() {
    let model = pair([50.0, 2.0], 1e3, 2e3);
    let critical = model.critical(3.3, [1.0, 0.0], [1e-6, 1.0]).expect("it latches");
    // I R_S = V_BE turns the npn on; the pnp follows once β I_B R_W reaches V_BE: the npn
    // then has I_B = V_BE/(β R_W).
    let expected = V_BE / 1e3 + V_BE / 2e3 / 50.0;
    check("Kirchhoff", "critical injection into S [A]", expected, critical, Within::Relative(2e-3));
    assert!(model.off_state(3.3, [0.99 * critical, 0.0]).is_some());
    assert!(model.off_state(3.3, [1.02 * critical, 0.0]).is_none());
    assert!(model.critical(3.3, [0.0, 0.0], [1e-6, 1.0]).is_err());
}

/// The S-curve of a pair with ideal junctions: it holds at V_BE + V_CE,sat and carries the
/// same current on both sides of every point.
#[test]
fn s_curve_of_ideal_junctions() {
    let thermal = 0.0259;
    let ideal = |i_s: f64| Characteristic::Exponential { saturation: i_s, thermal };
    let bipole = |beta: f64| Bipole {
        collector: ideal(1e-16),
        base: ideal(1e-16 / beta),
        inverse: ideal(1e-16),
        emitter_resistance: 0.0,
    };
    let model = Lumped {
        npn: bipole(50.0),
        pnp: bipole(2.0),
        well: Shunt::single(2e3),
        substrate: Shunt::single(1e3),
        recombination: ideal(1e-16),
        multiplication: Some(Multiplication { breakdown: 20.0, power: 4.0 }),
        leakage: 1e-12,
    };
    let curve = model.curve([1e-10, 1e-1]);
    let (trigger, holding) = (curve.trigger.unwrap(), curve.holding.unwrap());
    // It triggers below breakdown plus two junctions, above any punch.
    assert!(trigger.voltage > 10.0 && trigger.voltage < 21.5, "{trigger:?}");
    assert!(holding.voltage > 0.7 && holding.voltage < 1.1, "{holding:?}");
    assert!(holding.current > trigger.current && holding.junction < 0.0);
    // The extremum is one: nearby currents lie above.
    for f in [0.97, 1.03] {
        let beside = model.at_current(f * holding.current).unwrap();
        assert!(beside.voltage >= holding.voltage - 1e-12);
        let beside = model.at_current(f * trigger.current).unwrap();
        assert!(beside.voltage <= trigger.voltage + 1e-12);
    }
    // Kirchhoff at each point, from the parts.
    for p in curve.points.iter().step_by(7) {
        let npn =
            ideal(1e-16).at(p.npn_forward) * (1.0 + 1.0 / 50.0) - ideal(1e-16).at(-p.junction);
        let left = p.npn_forward / 1e3 + npn;
        assert!((left - p.current).abs() < 1e-9 * p.current + 1e-17, "{p:?}");
    }
}
