//! The table of constants: complete, in bounds, with the dopant rows of Masetti's table.

use holdpoint::case::{CONSTANTS, Constants, Dim, ElectronRow, read_str};

#[test]
fn every_constant_has_a_default_in_bounds_a_text_and_a_source() {
    for electrons in [ElectronRow::Arsenic, ElectronRow::Phosphorus] {
        let constants = Constants::with_electrons(electrons);
        for (i, c) in CONSTANTS.iter().enumerate() {
            let value = constants.get(c.law, c.key);
            let (low, high) = c.bounds;
            assert!((low..=high).contains(&value), "{}.{}: {value}", c.law, c.key);
            assert!(!c.doc.is_empty() && !c.source.is_empty(), "{}.{}", c.law, c.key);
            let twin = CONSTANTS.iter().skip(i + 1).any(|d| (d.law, d.key) == (c.law, c.key));
            assert!(!twin, "{}.{} stands twice", c.law, c.key);
        }
    }
    assert!(Constants::default().get("auger", "no such key").is_nan());
}

/// Masetti, Severi, Solmi, IEEE Trans. Electron Devices 30, 764 (1983): mobility at 300 K
/// in cm²/(V·s) from the constants of carrier `c` ("n" or "p").
fn masetti(constants: &Constants, c: &str, n: f64) -> f64 {
    let get = |key: &str| constants.get("masetti-1983", &format!("{key}_{c}"));
    get("mu_1") * (-get("p_c") / n).exp()
        + (get("mu_max") - get("mu_2")) / (1.0 + (n / get("c_r")).powf(get("alpha")))
        - get("mu_3") / (1.0 + (get("c_s") / n).powf(get("beta")))
}

#[test]
fn the_rows_give_the_mobilities_of_the_paper() {
    // As, P, B by density; computed outside from the paper's Table I.
    let rows = [
        (1e13, 1414.35, 1411.96, 470.15),
        (1e15, 1358.69, 1362.06, 461.05),
        (1e17, 727.05, 721.31, 319.10),
        (1e18, 283.78, 276.96, 160.31),
        (1e20, 60.87, 73.23, 49.86),
        (1e21, 15.91, 20.17, 24.87),
    ];
    let arsenic = Constants::default();
    let phosphorus = Constants::with_electrons(ElectronRow::Phosphorus);
    for (n, as_, p, b) in rows {
        for (got, wanted) in [
            (masetti(&arsenic, "n", n), as_),
            (masetti(&phosphorus, "n", n), p),
            (masetti(&arsenic, "p", n), b),
        ] {
            assert!((got - wanted).abs() <= 0.0051, "{n:e}: {got} instead of {wanted}");
        }
    }
}

#[test]
fn a_case_chooses_the_row_and_overrides_single_constants() {
    let text = "[wafer]\nspan = 1\nthickness = 1\n[[terminal]]\nname = 'b'\ntouches = [{ side = 'back' }]\n[constants]\nmasetti-1983 = { electrons = 'phosphorus', c_r_n = '1e17 cm^-3', mu_max_p = 480 }\nvan-overstraeten-1970 = { temperature_factor = 0, a_n = '7e5 /cm' }\n";
    let (case, _) = read_str(text, "").expect("a good case");
    let c = &case.constants;
    assert_eq!(c.row("masetti-1983"), ElectronRow::Phosphorus);
    assert_eq!(c.get("masetti-1983", "mu_max_n"), 1414.0);
    assert_eq!(c.get("masetti-1983", "c_r_n"), 1e17);
    assert_eq!(c.get("masetti-1983", "mu_max_p"), 480.0);
    assert_eq!(c.get("van-overstraeten-1970", "temperature_factor"), 0.0);
    let given: Vec<&str> = c.in_force().iter().filter(|f| f.given).map(|f| f.spec.key).collect();
    assert_eq!(given, ["mu_max_p", "c_r_n", "a_n", "temperature_factor"]);
    assert_eq!(c.in_force().len(), CONSTANTS.len());
    assert!(c.in_force().iter().all(|f| f.value.is_finite()));
}

const GOOD: &str = "[wafer]\nspan = 1\nthickness = 1\n[[terminal]]\nname = 'b'\ntouches = [{ side = 'back' }]\n[[experiment]]\nkind = 'bias'\ndrive = ['b']\nat = [0.1]\n";

/// A value outside the bounds of any constant is refused with the law, the key, the bound
/// and the source.
#[test]
fn every_bound_of_every_constant_is_kept() {
    for c in CONSTANTS {
        let (low, high) = c.bounds;
        // In the plain unit; a temperature in K.
        for (value, bound) in
            [(low - (0.1 * low.abs()).max(1e-300), low), (high + 0.1 * high.abs(), high)]
        {
            let text = format!("{GOOD}[constants]\n{} = {{ {} = {value:e} }}\n", c.law, c.key);
            let name = format!("{}.{}", c.law, c.key);
            let problems = read_str(&text, "").err().unwrap_or_else(|| panic!("{name} {value:e}"));
            let p = &problems[0];
            assert_eq!(p.code, "out-of-bounds", "{p:?}");
            assert!(p.text.contains(&name), "{p:?}");
            let help = p.help.clone().unwrap_or_default();
            assert!(help.contains(c.source), "{name}: {help}");
            assert!(
                c.dim == Dim::Number || help.contains(c.dim.unit()),
                "{name} bound {bound:e}: {help}"
            );
        }
    }
}

#[test]
fn what_cannot_be_is_an_error_that_names_law_and_bound() {
    for (table, key, value, law, bound) in [
        ("shockley-read-hall", "tau_p0", "-1e-6", "shockley-read-hall.tau_p0", "1e-15"),
        ("shockley-read-hall", "tau_n0", "0", "shockley-read-hall.tau_n0", "1e-15"),
        ("shockley-read-hall", "level", "0.9", "shockley-read-hall.level", "0.6"),
        ("intrinsic", "ni_300", "0", "intrinsic.ni_300", "1e8"),
        ("okuto-crowell-1975", "b_n", "0", "okuto-crowell-1975.b_n", "1000"),
        ("klaassen-1992", "mu_max_p", "-3", "klaassen-1992.mu_max_p", "100"),
        ("glassbrenner-slack-1964", "b", "0", "glassbrenner-slack-1964.b", "1e-6"),
        ("surface-recombination", "s_n", "-1", "surface-recombination.s_n", "0"),
    ] {
        let text = format!("{GOOD}[constants]\n{table} = {{ {key} = {value} }}\n");
        let p = &read_str(&text, "").expect_err(law)[0];
        assert_eq!(p.code, "out-of-bounds");
        assert!(p.text.contains(law), "{p:?}");
        let help = p.help.clone().unwrap_or_default();
        assert!(help.contains(bound), "{law}: {help}");
    }
    // The ambient, in K: 0, below 233 and above 448 are refused, the ends are not.
    for (t, good) in [(0.0, false), (232.9, false), (233.0, true), (448.0, true), (448.1, false)] {
        let text = format!("temperature = {t:?}\n{GOOD}");
        match read_str(&text, "") {
            Ok(_) => assert!(good, "{t} K"),
            Err(p) => {
                assert!(!good, "{t} K: {p:?}");
                assert!(p[0].help.as_ref().is_some_and(|h| h.contains("from 233 K to 448 K")));
            }
        }
    }
}

#[test]
fn a_case_chooses_donor_rows_by_law() {
    let text = format!(
        "{GOOD}[laws]\nmobility = 'arora-1982'\nnarrowing = 'klaassen-1992'\n[constants]\nklaassen-1992 = {{ electrons = 'phosphorus', v_1 = '7 meV' }}\n"
    );
    let (case, warnings) = read_str(&text, "").expect("a good case");
    // v_1 belongs to the narrowing in force.
    assert!(warnings.is_empty(), "{warnings:?}");
    let c = &case.constants;
    assert_eq!(c.get("klaassen-1992", "mu_min_n"), 68.5);
    assert_eq!(c.get("masetti-1983", "mu_1_n"), 52.2);
    assert_eq!(c.get("altermatt-2006", "e_d"), 53.7e-3);
    assert!((c.get("klaassen-1992", "v_1") - 7e-3).abs() < 1e-15);
    let other = text.replace("v_1 = '7 meV'", "s_1 = 0.9");
    let (_, warnings) = read_str(&other, "").expect("a good case");
    assert_eq!(warnings[0].code, "constant-not-used", "{warnings:?}");
}
