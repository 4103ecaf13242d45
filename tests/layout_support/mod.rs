//! Random layouts: cases that a person might draw, and some that only chance would.

mod dice;

pub use dice::Dice;

/// A length as a layout gives it: mostly on a grid of 10 nm.
fn place(dice: &mut Dice, low: f64, high: f64) -> f64 {
    let x = dice.between(low, high);
    if dice.once_in(4) { x } else { (x * 100.0).round() / 100.0 }
}

/// An interval within [0, span].
fn interval(dice: &mut Dice, span: f64) -> (f64, f64) {
    let (a, b) = (place(dice, 0.0, span), place(dice, 0.0, span));
    if a < b { (a, b) } else { (b, a + 0.01) }
}

fn piece(dice: &mut Dice, table: &str, name: &str, n: bool, span: f64, depth: f64) -> String {
    let (from, to) = interval(dice, span);
    let kind = if n { "donors" } else { "acceptors" };
    let peak = match table {
        "well" => dice.decades(1e15, 3e18),
        _ => dice.decades(1e17, 3e20),
    };
    let mut text =
        format!("[[{table}]]\nname = \"{name}\"\n{kind} = {peak:e}\nfrom = {from}\nto = {to}\n");
    let reach = depth * dice.between(0.01, 0.4);
    match dice.below(6) {
        0 => text += &format!("shape = \"box\"\nbottom = {reach}\n"),
        1 => text += &format!("shape = \"erfc\"\nfalloff = {reach}\n"),
        2 => text += &format!("crest = {}\nfalloff = {reach}\n", reach * dice.between(0.1, 2.0)),
        3 => text += &format!("junction_depth = {reach}\n"),
        _ => text += &format!("falloff = {reach}\n"),
    }
    if !dice.once_in(4) {
        text += &format!("spread = {}\n", reach * dice.between(0.2, 1.0));
    }
    text
}

/// The text of layout number `seed`.
pub fn layout(seed: u64) -> String {
    let dice = &mut Dice::new(seed);
    let span = place(dice, 1.0, 40.0).max(0.5);
    let depth = place(dice, 0.5, 15.0).max(0.3);
    let mut text = format!(
        "title = \"layout {seed}\"\ntemperature = {:.2}\n[wafer]\nspan = {span}\nthickness = {depth}\n",
        dice.between(233.0, 448.0)
    );
    let kind = dice.one_of(&["donors", "acceptors"]);
    let wafer = dice.decades(1e13, 1e18);
    if dice.once_in(4) {
        let handle = dice.decades(1e17, 1e19);
        text += &format!(
            "epi = {{ thickness = {}, {kind} = {wafer:e}, handle = {handle:e} }}\n",
            depth * dice.between(0.1, 0.9)
        );
    } else {
        text += &format!("{kind} = {wafer:e}\n");
    }
    for k in 0..dice.below(4) {
        let n = dice.once_in(2);
        text += &piece(dice, "well", &format!("well {k}"), n, span, depth);
    }
    for k in 0..dice.below(6) {
        let n = dice.once_in(2);
        text += &piece(dice, "diffusion", &format!("diffusion {k}"), n, span, depth.min(2.0));
    }
    for _ in 0..dice.below(3) {
        let (from, to) = interval(dice, span);
        let down = depth * dice.between(0.01, 0.6);
        text += &format!("[[trench]]\nfrom = {from}\nto = {to}\ndepth = {down}\n");
        if dice.once_in(3) {
            text += &format!("fixed_charge = {:e}\n", dice.decades(1e9, 1e12));
        }
    }
    for k in 0..dice.below(3) {
        let (from, to) = interval(dice, span);
        let to = to.min(from + dice.decades(0.1, 3.0));
        let plate = dice.one_of(&["\"n+ poly\"", "\"p+ poly\"", "{ work_function = 4.6 }"]);
        text += &format!(
            "[[gate]]\nname = \"gate {k}\"\nfrom = {from}\nto = {to}\noxide = {}\nplate = {plate}\n",
            dice.decades(2e-3, 0.05)
        );
    }
    if dice.once_in(3) {
        text += "[[terminal]]\nname = \"back\"\ntouches = [{ side = \"back\" }]\n";
    }
    // Contacts do not overlap: each in a slot of its own.
    let contacts = 1 + dice.below(5);
    for k in 0..contacts {
        let slot = span / contacts as f64;
        let from = slot * (k as f64 + dice.between(0.0, 0.4));
        let to = slot * (k as f64 + dice.between(0.5, 1.0));
        text += &format!(
            "[[terminal]]\nname = \"contact {k}\"\ntouches = [{{ from = {from}, to = {to} }}]\n"
        );
    }
    text += "[laws]\n";
    for (law, words) in [
        ("mobility", &["masetti-1983", "arora-1982", "klaassen-1992", "constant"][..]),
        ("narrowing", &["none", "slotboom-1977", "del-alamo-1985", "klaassen-1992"]),
        ("statistics", &["boltzmann", "fermi-dirac"]),
        ("dopants", &["ionized", "incomplete"]),
    ] {
        if dice.once_in(2) {
            text += &format!("{law} = \"{}\"\n", dice.one_of(words));
        }
    }
    text + &format!("[grid]\nnodes = {}\n", dice.decades(300.0, 3000.0) as usize)
}
