//! Random but physical cross-sections: two emitters, their taps and wells, as a process and
//! a layout might have them, over wide ranges of everything at once.

#[path = "../layout_support/dice.rs"]
mod dice;

pub use dice::Dice;

/// One polarity's words: what dopes it, what the other one is doped with.
struct Side {
    name: &'static str,
    /// Of the well and its tap.
    own: &'static str,
    /// Of the emitter.
    other: &'static str,
    tap: &'static str,
    emitter: &'static str,
    /// From left: emitter, tap.
    emitter_at: (f64, f64),
    tap_at: (f64, f64),
    well_at: (f64, f64),
}

/// Voltage at which a self-heating cross-section stops [V]. Wells of 3e16 cm⁻³ and more, as
/// drawn here, break down below it: 60 V (N/1e16)^-¾ is 26 V at 3e16 (S. M. Sze and
/// G. Gibbons, Appl. Phys. Lett. 8 (1966) 111, one-sided abrupt junction).
const HEATED_VOLTS: f64 = 30.0;

/// Thermal conductivity of silicon near 1200 K [W/(cm·K)]: C. J. Glassbrenner and
/// G. A. Slack, Phys. Rev. 134 (1964) A1058, about 0.3. The lowest on the way.
const HOT_CONDUCTIVITY: f64 = 0.3;

/// Largest steady current [A/µm] that no heated cross-section melts at below
/// [`HEATED_VOLTS`]: the power is at most I·V, and the thermal resistance at most that of
/// the back, of the silicon in one dimension, and of the spreading from a line 0.3 µm wide,
/// all in series. Drawn sizes only: nothing is known of how a trace ends.
fn coolest(ambient: f64, span: f64, thickness: f64, back: f64) -> f64 {
    let spreading = (2.0 * span / 0.3).ln() / std::f64::consts::PI;
    // K·cm/W
    let resistance = back / (span * 1e-4) + (spreading + thickness / span) / HOT_CONDUCTIVITY;
    let per_cm = (1200.0 - ambient) / (HEATED_VOLTS * resistance);
    (per_cm * 1e-4).min(1e-2)
}

/// How far cross-sections are traced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// To 10 mA/µm or 150 V; with self-heating to a current that no cross-section of these
    /// sizes melts at.
    Physical,
    /// To 10 mA/µm or 150 V, come what may.
    Far,
}

/// The text of cross-section number `seed`: spacing between the emitters 0.3 to 20 µm, tap
/// distance 0.5 to 20 µm, doping 1e14 to 3e20 cm⁻³, 233 to 448 K, any mix of laws.
pub fn cross_section(seed: u64, reach: Reach) -> String {
    let dice = &mut Dice::new(seed);
    let spacing = dice.decades(0.3, 20.0);
    let (near, far) = (dice.decades(0.5, 20.0), dice.decades(0.5, 20.0));
    let (emitter, tap, rim) = (dice.between(0.5, 3.0), dice.between(0.4, 1.5), 0.4);
    // A tail of 1e20 meets that of 1e16 after three spreads: the emitters stay apart.
    let narrow = (0.09 * spacing.min(near).min(far)).clamp(0.01, 0.1);
    let mut x = rim;
    let mut next = |width: f64, gap: f64| {
        let at = (x, x + width);
        x += width + gap;
        at
    };
    let p_tap = next(tap, near);
    let n_emitter = next(emitter, spacing);
    let p_emitter = next(emitter, far);
    let n_tap = next(tap, rim);
    let span = x;
    let edge = n_emitter.1 + spacing * dice.between(0.35, 0.65);
    let sides = [
        Side {
            name: "p-well",
            own: "acceptors",
            other: "donors",
            tap: "substrate-tap",
            emitter: "cathode",
            emitter_at: n_emitter,
            tap_at: p_tap,
            well_at: (0.0, edge),
        },
        Side {
            name: "n-well",
            own: "donors",
            other: "acceptors",
            tap: "well-tap",
            emitter: "anode",
            emitter_at: p_emitter,
            tap_at: n_tap,
            well_at: (edge, span),
        },
    ];
    let depth = dice.decades(0.3, 2.5);
    // A well is some tenths of a µm deeper than its emitter, and the cut deeper than both.
    let thickness = (5.0 * depth).max(2.0) + dice.between(0.0, 6.0);
    let ambient = dice.between(233.0, 448.0);
    let mut text = format!(
        "title = \"cross-section {seed}\"\ntemperature = {ambient:.2}\n[wafer]\nspan = {span}\nthickness = {thickness}\n"
    );
    let wafer = dice.decades(1e14, 5e15);
    // The wafer is of the type of the p-well, seldom of the n-well's.
    let (of_n, twin) = (dice.once_in(5), !dice.once_in(3));
    let kind = if of_n { "donors" } else { "acceptors" };
    if dice.once_in(3) {
        let layer = thickness * dice.between(0.4, 0.8);
        let handle = dice.decades(1e18, 1e19);
        text += &format!(
            "epi = {{ thickness = {layer}, {kind} = {wafer:e}, handle = {handle:e}, blur = 0.3 }}\n"
        );
    } else {
        text += &format!("{kind} = {wafer:e}\n");
    }
    for side in &sides {
        // One well alone where the wafer is the other's base.
        if twin || kind != side.own {
            text += &well(dice, side, depth, spacing);
        }
        let peak = dice.decades(1e19, 3e20);
        let down = (depth * dice.between(0.08, 0.2)).min(0.2);
        for (what, of, at) in
            [("emitter", side.other, side.emitter_at), ("tap", side.own, side.tap_at)]
        {
            text += &format!(
                "[[diffusion]]\nname = \"{} {what}\"\n{of} = {peak:e}\nfrom = {}\nto = {}\nfalloff = {down}\nspread = {narrow}\n",
                side.name, at.0, at.1
            );
        }
        for (name, at) in [(side.emitter, side.emitter_at), (side.tap, side.tap_at)] {
            let inset = 0.2 * (at.1 - at.0);
            text += &format!(
                "[[terminal]]\nname = \"{name}\"\nrole = \"{name}\"\ntouches = [{{ from = {}, to = {} }}]\n",
                at.0 + inset,
                at.1 - inset
            );
            if dice.once_in(5) {
                text += &format!("resistance = {:e}\n", dice.decades(1.0, 1e4));
            }
        }
    }
    if spacing > 0.8 && !dice.once_in(3) {
        let (from, to) = (n_emitter.1 + 0.35 * spacing, n_emitter.1 + 0.65 * spacing);
        let down = depth * dice.decades(0.2, 1.5);
        text += &format!("[[trench]]\nfrom = {from}\nto = {to}\ndepth = {down}\n");
    }
    text += &laws(dice);
    let stop = match heat(dice) {
        Some(back) => {
            text += &format!("heat = \"self-heating\"\n[heat]\nback = {back:e}\n");
            match reach {
                Reach::Physical => (coolest(ambient, span, thickness, back), HEATED_VOLTS),
                Reach::Far => (1e-2, 150.0),
            }
        }
        None => (1e-2, 150.0),
    };
    text += "[grid]\nnodes = 1200\n[[experiment]]\nkind = \"snapback\"\n";
    text + &format!(
        "drive = [\"anode\", \"well-tap\"]\nstop = {{ current = {:e}, voltage = {} }}\n",
        stop.0, stop.1
    )
}

fn well(dice: &mut Dice, side: &Side, depth: f64, spacing: f64) -> String {
    let peak = dice.decades(3e16, 3e18);
    let spread = (0.2 * depth).min(0.2 * spacing);
    let crest = if dice.once_in(4) { 0.7 * depth } else { 0.0 };
    format!(
        "[[well]]\nname = \"{}\"\n{} = {peak:e}\nfrom = {}\nto = {}\ncrest = {crest}\nfalloff = {depth}\nspread = {spread}\n",
        side.name, side.own, side.well_at.0, side.well_at.1
    )
}

fn laws(dice: &mut Dice) -> String {
    let mut text = "[laws]\n".to_string();
    for (law, words) in [
        ("mobility", &["masetti-1983", "arora-1982", "klaassen-1992", "constant"][..]),
        ("saturation", &["canali-1975", "none"]),
        ("lifetime", &["constant", "falls-with-doping"]),
        ("narrowing", &["none", "slotboom-1977", "del-alamo-1985", "klaassen-1992"]),
        ("avalanche", &["van-overstraeten-1970", "okuto-crowell-1975", "none"]),
        ("statistics", &["boltzmann", "boltzmann", "fermi-dirac"]),
        ("dopants", &["ionized", "ionized", "incomplete"]),
    ] {
        text += &format!("{law} = \"{}\"\n", dice.one_of(words));
    }
    let recombination = dice.one_of(&[
        "\"shockley-read-hall\", \"auger\"",
        "\"shockley-read-hall\"",
        "\"shockley-read-hall\", \"auger\", \"surface\"",
    ]);
    text + &format!("recombination = [{recombination}]\n")
}

/// Of one in six: the thermal resistance at the back [K·cm²/W].
fn heat(dice: &mut Dice) -> Option<f64> {
    dice.once_in(6).then(|| dice.decades(1e-3, 0.1))
}
