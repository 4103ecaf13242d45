//! Junction capacitances of the lumped model, through the command line, against the
//! depletion formula of abrupt junctions.

mod shipped_support;

use holdpoint::silicon::{EPS_0, Q, thermal_voltage};
use shipped_support::{Desk, number};

const WELL: f64 = 1e17;
const SUPPLY: f64 = 2.0;
const THICKNESS: f64 = 3.0;

/// Abrupt wells side by side, so that the well junction is a plane, and box-shaped sources.
fn case() -> String {
    let piece = |kind: &str, name: &str, doping: &str, from: f64, to: f64, bottom: f64| {
        format!(
            "[[{kind}]]\nname = \"{name}\"\n{doping}\nfrom = {from}\nto = {to}\nshape = \"box\"\nbottom = {bottom}\n"
        )
    };
    let (n, p) = (format!("donors = {WELL}"), format!("acceptors = {WELL}"));
    let (n_plus, p_plus) = ("donors = 1e20", "acceptors = 1e20");
    let mut text = format!(
        "title = \"Abrupt wells\"\ntemperature = 300\n[laws]\nnarrowing = \"none\"\n\
         [wafer]\nspan = 14\nthickness = {THICKNESS}\n"
    );
    text += &piece("well", "n-well", &n, 7.0, 14.0, THICKNESS);
    text += &piece("well", "p-well", &p, 0.0, 7.0, THICKNESS);
    text += &piece("diffusion", "tap p", p_plus, 0.5, 1.5, 0.2);
    text += &piece("diffusion", "source n", n_plus, 3.0, 5.0, 0.2);
    text += &piece("diffusion", "source p", p_plus, 9.0, 11.0, 0.2);
    text += &piece("diffusion", "tap n", n_plus, 12.5, 13.5, 0.2);
    for (name, from, to) in [
        ("substrate-tap", 0.6, 1.4),
        ("cathode", 3.1, 4.9),
        ("anode", 9.1, 10.9),
        ("well-tap", 12.6, 13.4),
    ] {
        text += &format!(
            "[[terminal]]\nname = \"{name}\"\nrole = \"{name}\"\ntouches = [{{ from = {from}, to = {to} }}]\n"
        );
    }
    text += "[grid]\nnodes = 3000\n";
    text += &format!("[verdict]\nsupply = {SUPPLY}\n");
    text += "[[experiment]]\nkind = \"gains\"\n[[experiment]]\nkind = \"resistances\"\n";
    text += &format!(
        "[[experiment]]\nkind = \"capacitance\"\nbias = {{ anode = {SUPPLY}, well-tap = {SUPPLY} }}\nfrequencies = [1e9, 1e4]\n"
    );
    text
}

/// C = ε/W of an abrupt junction per µm² \[F\], W² = 2ε/q (1/N_A + 1/N_D)(V_bi + V − 2kT/q):
/// S. M. Sze, Physics of Semiconductor Devices, depletion approximation, from memory.
fn depletion(donors: f64, acceptors: f64, reverse: f64) -> f64 {
    let vt = thermal_voltage(300.0);
    // 9.65e9 cm^-3: the case's own intrinsic density at 300 K.
    let built_in = vt * (donors * acceptors / 9.65e9f64.powi(2)).ln();
    let eps = 11.7 * EPS_0;
    let drop = built_in + reverse - 2.0 * vt;
    let width = (2.0 * eps / Q * (1.0 / donors + 1.0 / acceptors) * drop).sqrt();
    eps / width * 1e-8
}

#[test]
#[ignore = "a minute: DEVELOPERS.md"]
fn capacitances_follow_the_depletion_formula() {
    let desk = Desk::new();
    let ran = desk.case("wells", &case(), &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let document = ran.json();
    let lumped = &document["lumped"];
    let of = |name: &str| number(lumped, &format!("/parameters/{name}_F_per_um"));
    let well = depletion(WELL, WELL, SUPPLY) * THICKNESS;
    println!("well junction {:.4e} F/um, formula {well:.4e}", of("well_junction"));
    assert!((of("well_junction") / well - 1.0).abs() < 0.03);
    // Bottom and both sides of a box; the corners add up to a tenth.
    let source = depletion(1e20, WELL, 0.0) * (2.0 + 2.0 * 0.2);
    for name in ["npn_emitter", "pnp_emitter"] {
        println!("{name} {:.4e} F/um, formula without corners {source:.4e}", of(name));
        assert!((0.97..1.15).contains(&(of(name) / source)), "{name}");
    }
    // The displacement trigger is made of these: I = C_J dV/dt.
    let [current, rate, rise] = ["current_A_per_um", "rate_V_per_s", "rise_s"]
        .map(|name| number(lumped, &format!("/ramp/{name}")));
    println!("ramp: {current:.3e} A/um, {rate:.3e} V/s, {rise:.3e} s");
    assert!((rate * of("well_junction") / current - 1.0).abs() < 1e-9);
    assert!((rise * rate / SUPPLY - 1.0).abs() < 1e-9);
    // The file keeps them.
    let shown = desk.run(&["show", "wells.h5", "--json"]).json();
    assert_eq!(shown["lumped"], *lumped);
    // Without the experiment there are none, and that is said.
    let text = case();
    let without = text.split("[[experiment]]\nkind = \"capacitance\"").next().unwrap();
    let ran = desk.case("without", without, &[]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let parameters = &ran.json()["lumped"]["parameters"];
    assert!(parameters["well_junction_F_per_um"].is_null());
    let why = parameters["well_junction_F_per_um_reason"].as_str().unwrap();
    assert!(why.contains("no `capacitance` experiment"), "{why}");
}
