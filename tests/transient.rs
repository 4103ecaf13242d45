//! Pulse, supply ramp and strike through the built binary, on a four-layer bar.

mod shipped_support;

use serde_json::Value;
use shipped_support::{Desk, number, shipped, with, with_experiment};

/// The bar on few nodes, with other experiments.
fn bar(experiments: &str) -> String {
    let text = with(&shipped("four-layer-bar.toml"), "nodes = 3200", "nodes = 400");
    with_experiment(&text, experiments)
}

fn run(desk: &Desk, text: &str, threads: &str) -> Vec<Value> {
    desk.write("bar.toml", text);
    let ran = desk.run(&["run", "bar.toml", "-o", "bar.h5", "--json", "--threads", threads]);
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    ran.json()["experiments"].as_array().expect("experiments").clone()
}

const PULSE: &str = "[[experiment]]\nkind = \"pulse\"\ninto = \"anode\"\nbias = { anode = 5 }\n\
    height = \"100 uA/um\"\nsettle = \"100 ns\"\n";
const STRIKE: &str = "[[experiment]]\nkind = \"strike\"\nbias = { anode = 5 }\nat = 4.5\nreach = 1\n\
    radius = 0.3\nsettle = \"100 ns\"\n";

/// Charge decides: pulse and strike need about the same, a ramp's displacement brings less.
#[test]
fn one_charge_latches() {
    let text = bar(&format!(
        "{PULSE}width = {{ from = \"10 ps\", to = \"1 ns\" }}\n\
         {STRIKE}charge_per_um = {{ from = 1e-15, to = 1e-13 }}\n\
         [[experiment]]\nkind = \"supply-ramp\"\ndrive = [\"anode\"]\nto = 5\n\
         rise = {{ from = \"10 ps\", to = \"1 ns\" }}\nsettle = \"100 ns\"\n"
    ));
    let done = run(&Desk::new(), &text, "2");
    let [pulse, strike, ramp] = done.as_slice() else { panic!("{done:?}") };
    let number = |v: &Value| v.as_f64().unwrap_or_else(|| panic!("no number: {v}"));
    let (safe, latching) =
        (number(&pulse["longest_safe_s"]), number(&pulse["shortest_latching_s"]));
    assert_eq!(pulse["latches"], true);
    assert!(safe < latching && latching < 1.021 * safe, "{safe} {latching}");
    // Both edges of 0.1 ns count half.
    let charge = 1e-4 * (latching + 1e-10);
    let struck = number(&strike["critical"]["charge_C_per_um"]);
    println!("pulse {charge:.3e} C/µm, strike {struck:.3e} C/µm");
    assert!((0.5..2.0).contains(&(charge / struck)), "{charge} {struck}");
    assert_eq!(ramp["latches"], false);
    assert!(ramp["critical"]["rise_s"].is_null());
    assert!(number(&pulse["current_balance"]) < 1e-8);
    // The trace ends in the on-state.
    let currents = pulse["trace"]["current_A_per_um"]["anode"].as_array().unwrap();
    let on = number(&pulse["supply_current"]["on_A_per_um"]);
    let last = number(currents.last().unwrap());
    assert!((last / on - 1.0).abs() < 0.05, "{last} {on}");
}

/// A shortest safe time of rise within its limits, against charge and current by hand. While
/// the supply rises, C dV/dt flows through both bases; it switches the bar if it exceeds the
/// current J that does so at rest. J is measured without any ramp: a track across the depleted
/// middle junction at 5 V, dying away in 2 µs, gives each base its majority carriers as the
/// displacement does. J falls as the voltage grows (depletion narrows the bases), and so does
/// C: a rise with C(0) dV/dt below J(5 V) is safe all the way, and one with C(5 V) dV/dt above
/// it latches before it ends, if the emitters' own junctions are charged by then. These take
/// about 0.3 and 0.65 fC/µm, which the middle junction's displacement brings in the first 2 V.
#[test]
fn the_shortest_safe_rise() {
    let lived = |experiments: &str| {
        let text = with(&bar(experiments), "tau_n0 = \"1 ns\"", "tau_n0 = \"2 ns\"");
        with(&text, "tau_p0 = \"1 ns\"", "tau_p0 = \"2 ns\"")
    };
    let ramp = |rise: &str| {
        format!(
            "[[experiment]]\nkind = \"supply-ramp\"\ndrive = [\"anode\"]\nto = 5\n\
             rise = {rise}\nsettle = \"1 us\"\n"
        )
    };
    let (from, to, decay) = (1e-8, 1e-5, 2e-6);
    let slow = format!(
        "[[experiment]]\nkind = \"strike\"\nbias = {{ anode = 5 }}\nat = 4.3\nreach = 1\n\
         radius = 0.05\ntime = {decay:e}\nsettle = \"20 us\"\n\
         charge_per_um = {{ from = 1e-16, to = 1e-13 }}\n"
    );
    let search = ramp(&format!("{{ from = {from:e}, to = {to:e} }}"));
    let done = run(&Desk::new(), &lived(&(search + &slow)), "1");
    let [found, struck] = done.as_slice() else { panic!("{done:?}") };
    assert_eq!(found["latches"], true);
    let safe = number(found, "/critical/rise_s");
    let latching = number(found, "/longest_latching_s");
    assert!(from < latching && latching < safe && safe < to, "{latching} {safe}");
    assert!(safe < 1.021 * latching, "{latching} {safe}");

    // 1 µm of track in a bar 1 µm thick.
    let current = number(struck, "/critical/charge_C_per_um") / decay;
    // Abrupt junction of 3e16 and 2e17 cm⁻³, V_T ln(N_a N_d/n_i²) = 0.82 V built in, 1 µm² [F]:
    // Sze and Ng (2007), section 2.2.
    let doping = 3e16 * 2e17 / (3e16 + 2e17);
    let capacitance =
        |v: f64| 1e-8 * (1.602e-19 * 11.7 * 8.854e-14 * doping / (2.0 * (0.82 + v))).sqrt();
    let [low, high] = [5.0, 0.0].map(|v| capacitance(v) * 5.0 / current);
    println!("rise {latching:.3e} to {safe:.3e} s; by hand {low:.3e} to {high:.3e} s");
    assert!(low < latching && safe < high, "{low} {latching} {safe} {high}");

    // The same transients one at a time, judged after the whole settling time.
    let fixed = [1.3 * safe, latching / 1.3].map(|rise| ramp(&format!("{rise:e}")));
    let done = run(&Desk::new(), &lived(&fixed.concat()), "1");
    let latches: Vec<&Value> = done.iter().map(|e| &e["latches"]).collect();
    assert_eq!(latches, [false, true]);
}

/// A bar and a strike with left and right changed over need the same charge. Across the
/// depleted middle junction the field parts every pair, electrons to the n base and holes to
/// the p base; from deep in the n base only those holes arrive that diffuse there within their
/// lifetime and are not taken by the emitter beside them, so that more charge is needed.
#[test]
fn place_and_angle_of_a_strike() {
    let strike = |at: f64, angle: f64| {
        let text = with(STRIKE, "at = 4.5", &format!("at = {at:?}\nangle = {angle:?}"));
        let text = with(&text, "radius = 0.3", "radius = 0.1");
        format!("{text}charge_per_um = {{ from = 1e-15, to = 1e-12 }}\n")
    };
    let text = bar(&(strike(4.0, 25.0) + &strike(4.0, -25.0) + &strike(2.5, 0.0)));
    let mirrored = bar(&strike(4.0, -25.0));
    let (left, right) = ("{ side = \"left\" }", "{ side = \"right\" }");
    let mut mirrored = with(&with(&mirrored, left, "@"), right, left).replace('@', right);
    for (from, to) in [("0", "2"), ("2", "4.5"), ("4.5", "6"), ("6", "8")] {
        let of = |word: &str, value: &str| {
            let line = mirrored.lines().find(|l| {
                l.split_once('=').is_some_and(|(k, v)| k.trim() == word && v.trim() == value)
            });
            line.unwrap_or_else(|| panic!("no {word} = {value}")).to_string()
        };
        let image = |value: &str| 8.0 - value.parse::<f64>().expect("a number");
        let (old_from, old_to) = (of("from", from), of("to", to));
        mirrored = with(
            &mirrored,
            &format!("{old_from}\n{old_to}\n"),
            &format!("from = {:?} #\nto = {:?} #\n", image(to), image(from)),
        );
    }
    let done = [run(&Desk::new(), &text, "1"), run(&Desk::new(), &mirrored, "1")].concat();
    let charges: Vec<f64> = done.iter().map(|e| number(e, "/critical/charge_C_per_um")).collect();
    println!("+25, -25 degrees, far, mirrored: {charges:?} C/um");
    let [right, left, far, image] = charges[..] else { panic!("{charges:?}") };
    // Each search ends within 2 %.
    assert!((image / right).max(right / image) < 1.021, "{image} {right}");
    // The other angle is another place.
    assert!((left / right).max(right / left) > 1.05, "{left} {right}");
    assert!(far > 1.2 * right && far > left, "{far} {right} {left}");
}

/// Waveforms of current and of voltage, a search in height, and the curve of widths.
#[test]
fn shapes_of_pulses() {
    let head = with(PULSE, "height = \"100 uA/um\"\n", "");
    let wave = |of: &str| format!("{head}waveform = [{of}]\n");
    let trapezoid = "{ time = 0, value = 0 }, { time = 1e-10, value = 1e-4 }, \
        { time = 1e-9, value = 1e-4 }, { time = 1.1e-9, value = 0 }";
    let volts = |to: &str| {
        format!(
            "{{ time = 1e-9, voltage = 5 }}, {{ time = 2e-9, voltage = {to} }}, \
             {{ time = 4e-9, voltage = {to} }}, {{ time = 5e-9, voltage = 5 }}"
        )
    };
    let text = bar(&format!(
        "{}{}{}{head}height = {{ from = 1e-5, to = 1e-3 }}\nwidth = \"400 ps\"\n\
         {head}heights = [1e-4, 2e-4]\nwidth = {{ from = \"10 ps\", to = \"10 ns\" }}\n",
        wave(trapezoid),
        wave(&volts("40")),
        wave(&volts("6")),
    ));
    let done = run(&Desk::new(), &text, "2");
    let [current, high, low, height, widths] = done.as_slice() else { panic!("{done:?}") };
    assert_eq!(current["latches"], true);
    // Beyond the trigger and back; hardly raised.
    assert_eq!((&high["latches"], &low["latches"]), (&true.into(), &false.into()));
    let number = |v: &Value| v.as_f64().unwrap_or_else(|| panic!("no number: {v}"));
    // Edges count half: each limit is about one charge.
    let of = |k: usize| number(&widths["curve"]["width_s"][k]) + 1e-10;
    let charges =
        [number(&height["critical"]["current_A_per_um"]) * 5e-10, 1e-4 * of(0), 2e-4 * of(1)];
    println!("charges {charges:?} C/µm");
    let mean = charges.iter().sum::<f64>() / 3.0;
    assert!(charges.iter().all(|q| (0.6..1.6).contains(&(q / mean))), "{charges:?}");
    let safe = number(&height["largest_safe_A_per_um"]);
    let latching = number(&height["critical"]["current_A_per_um"]);
    assert!(safe < latching && latching < 1.021 * safe, "{safe} {latching}");
}

/// Wiring in series and to ground acts on a pulse through the case's own keys.
#[test]
fn wiring_of_a_terminal() {
    let wired = |wiring: &str| {
        let text = bar(&format!("{PULSE}width = \"300 ps\"\n"));
        let sides = "touches = [{ side = \"left\" }]\n";
        with(&text, sides, &format!("{sides}{wiring}"))
    };
    let bare = run(&Desk::new(), &wired(""), "2");
    assert_eq!(bare[0]["latches"], true);
    // A capacitance takes most of the pulse's 40 fC/um in; 5 V + 0.4 V do not latch.
    let held = run(&Desk::new(), &wired("capacitance = \"100 fF/um\"\n"), "2");
    assert_eq!(held[0]["latches"], false);
    let bad = wired("inductance = \"5 nH\"\n");
    let desk = Desk::new();
    desk.write("bad.toml", &bad);
    let ran = desk.run(&["run", "bad.toml", "-o", "bad.h5"]);
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("nH") && ran.err.contains("bad.toml:"), "{}", ran.err);
}

#[test]
fn threads_do_not_matter() {
    let text = bar(&format!("{PULSE}width = \"100 ps\"\n"));
    let strip = |mut e: Vec<Value>| {
        e.iter_mut().for_each(|e| {
            e.as_object_mut().unwrap().remove("wall_s");
        });
        e
    };
    let one = strip(run(&Desk::new(), &text, "1"));
    let two = strip(run(&Desk::new(), &text, "2"));
    assert_eq!(one[0]["latches"], true);
    assert!(one == two, "one and two threads differ");
}

#[test]
fn without_an_on_state() {
    let text = with(PULSE, "anode = 5", "anode = 0.8");
    let done =
        run(&Desk::new(), &bar(&format!("{text}width = {{ from = 1e-11, to = 1e-9 }}\n")), "2");
    assert_eq!(done[0]["latches"], false);
    assert!(done[0]["shortest_latching_s"].is_null());
    let why = done[0]["shortest_latching_s_reason"].as_str().unwrap();
    assert!(why.contains("no on-state"), "{why}");
}

/// The search for the on-state follows the S-curve up to 0.1 A/µm. The bar made 50 µm thick
/// carries ten times that at 5 V: a pulse has no answer then, and the verdict, which knows that
/// an on-state exists, is open rather than safe.
#[test]
fn an_on_state_beyond_what_is_followed_is_an_open_answer() {
    let snapback =
        "[[experiment]]\nkind = \"snapback\"\ndrive = [\"anode\"]\nstop = { current = 5e-2 }\n";
    let judged = |thickness: &str, height: &str| {
        let text = with(&bar(""), "thickness = \"1 um\"", thickness);
        let pulse = with(PULSE, "height = \"100 uA/um\"", height);
        let desk = Desk::new();
        let verdict = "[verdict]\nsupply = 5\nmargin = 0.1\n";
        let ran = desk.case("bar", &format!("{text}{snapback}{pulse}width = 1e-9\n{verdict}"), &[]);
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        ran.json()
    };
    let thick = judged("thickness = \"50 um\"", "height = \"5 mA/um\"");
    let pulse = &thick["experiments"][1];
    assert!(pulse["latches"].is_null() && pulse["supply_current"]["on_A_per_um"].is_null());
    let why = pulse["latches_reason"].as_str().expect("a reason");
    assert!(why.contains("at 5 V carries more than 1e-1 A/µm"), "{why}");
    let verdict = &thick["verdict"];
    assert_eq!(verdict["answer"], "undecided");
    let reasons = verdict["reasons"].as_array().expect("reasons");
    let said = |what: &str| reasons.iter().any(|r| r.as_str().is_some_and(|r| r.contains(what)));
    assert!(said("an on-state exists"), "{reasons:?}");
    assert!(said("missing: the pulse has no answer: the on-state at 5 V"), "{reasons:?}");
    let decides = verdict["decides"].as_str().expect("what decides");
    assert!(decides.starts_with("none: the pulse has no answer"), "{decides}");
    // The same current density in a bar of which it can be told.
    let thin = judged("thickness = \"2 um\"", "height = \"200 uA/um\"");
    assert_eq!(thin["verdict"]["answer"], "latches");
    let on = thin["experiments"][1]["supply_current"]["on_A_per_um"].as_f64().expect("a current");
    assert!(25.0 * on > 0.1 && on < 0.1, "{on}");
}

#[test]
fn bad_input() {
    let refused = |text: &str, words: &[&str]| {
        let desk = Desk::new();
        desk.write("bad.toml", &bar(text));
        let ran = desk.run(&["run", "bad.toml", "-o", "bad.h5"]);
        assert_eq!(ran.code, Some(2), "{}", ran.err);
        for word in words {
            assert!(ran.err.contains(word), "{word:?} is not in\n{}", ran.err);
        }
    };
    let pulse = |old: &str, new: &str| format!("{}width = \"1 ns\"\n", with(PULSE, old, new));
    refused(&pulse("{ anode = 5 }", "{ anode = 0 }"), &["above 0 V", "bad.toml:", "bias"]);
    refused(&pulse("into = \"anode\"", "into = \"anodde\""), &["no terminal or gate \"anodde\""]);
    let wave = "waveform = [{ time = 2e-9, value = 0 }, { time = 1e-9, value = 1e-3 }]";
    let text = with(PULSE, "height = \"100 uA/um\"", wave);
    refused(&text, &["the corner at 1e-9 s follows one at 2e-9 s", "not later"]);
    refused(
        &with(PULSE, "bias = { anode = 5 }", "bias = { anode = 5 }\nopen = [\"cathode\"]"),
        &[
            "no terminal is left at a fixed voltage",
            "no way back",
            "open: \"cathode\"",
            "bad.toml:",
        ],
    );
    // A role that the experiment needs: named, with the terminals that there are.
    refused(
        "[[experiment]]\nkind = \"gains\"\nsupply = 5\n",
        &[
            "no terminal has the role \"well-tap\"",
            "\"anode\" (anode), \"cathode\" (cathode)",
            "bad.toml:",
        ],
    );
    refused(
        "[[experiment]]\nkind = \"gains\"\nsupply = 5\nopen = [\"anode\"]\n",
        &["every terminal with the role \"anode\" is open", "left open here", "bad.toml:"],
    );
    let injection = "[[experiment]]\nkind = \"injection\"\ninto = \"anode\"\n";
    refused(
        &format!("{injection}bias = {{ cathode = 0 }}\n"),
        &["no terminal is held above 0 V", "a supply of zero", "bad.toml:"],
    );
    let raise = "[[experiment]]\nkind = \"overvoltage\"\ndrive = [\"anode\"]\n";
    refused(&format!("{raise}supply = 5\nto = 4\n"), &["not raised", "bad.toml:"]);
    refused(raise, &["there is no supply", "bad.toml:"]);
    refused(&format!("{raise}supply = 0\n"), &["supply", "bad.toml:"]);
    let signal = "[[experiment]]\nkind = \"capacitance\"\n";
    refused(signal, &["frequencies", "bad.toml:"]);
    refused(&format!("{signal}frequencies = [1e6, 0]\n"), &["0", "bad.toml:"]);
    let strike = with(STRIKE, "bias = { anode = 5 }\n", "");
    refused(&format!("{strike}charge_per_um = 1e-15\n"), &["no terminal is held above 0 V"]);
}
