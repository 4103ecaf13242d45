//! The unit parser, spelling by spelling, and what it refuses.

use holdpoint::case::Dim;
use holdpoint::case::units::{parse, pattern};

#[track_caller]
fn reads(text: &str, dim: Dim, wanted: f64) {
    let got = parse(text, dim).unwrap_or_else(|p| panic!("{text:?}: {p:?}"));
    let error = (got - wanted).abs() / wanted.abs().max(f64::MIN_POSITIVE);
    assert!(error < 1e-14 || got == wanted, "{text:?}: {got} instead of {wanted}");
}

#[test]
fn the_units_of_the_design_document_are_read() {
    for (text, dim, wanted) in [
        ("12 um", Dim::Length, 12.0),
        ("0.12 \u{b5}m", Dim::Length, 0.12),
        ("0.12 \u{3bc}m", Dim::Length, 0.12),
        ("7 nm", Dim::Length, 0.007),
        ("70 Å", Dim::Length, 0.007),
        ("1.5mm", Dim::Length, 1500.0),
        ("  +2. um  ", Dim::Length, 2.0),
        (".5 um", Dim::Length, 0.5),
        ("-1e-1um", Dim::Length, -0.1),
        ("1e17 cm^-3", Dim::Density, 1e17),
        ("1e17cm-3", Dim::Density, 1e17),
        ("1e17 cm⁻³", Dim::Density, 1e17),
        ("1e17 /cm3", Dim::Density, 1e17),
        ("1e17 /cm^3", Dim::Density, 1e17),
        ("1e17 1/cm^3", Dim::Density, 1e17),
        ("1e23 m^-3", Dim::Density, 1e17),
        ("1e5 um^-3", Dim::Density, 1e17),
        ("125 degC", Dim::Temperature, 398.15),
        ("-40 °C", Dim::Temperature, 233.15),
        ("300 K", Dim::Temperature, 300.0),
        ("3.3 V", Dim::Voltage, 3.3),
        ("-500 mV", Dim::Voltage, -0.5),
        ("10 ns", Dim::Time, 1e-8),
        ("20 us", Dim::Time, 2e-5),
        ("20 µs", Dim::Time, 2e-5),
        ("50 ohm*um", Dim::ResistanceWidth, 50.0),
        ("50 Ω·µm", Dim::ResistanceWidth, 50.0),
        ("50 \u{2126} um", Dim::ResistanceWidth, 50.0),
        ("1 ohm*cm", Dim::ResistanceWidth, 1e4),
        ("2 kohm*um", Dim::ResistanceWidth, 2e3),
        ("10 mA/um", Dim::CurrentPerWidth, 1e-2),
        ("1e-2 A/um", Dim::CurrentPerWidth, 1e-2),
        ("5 µA/µm", Dim::CurrentPerWidth, 5e-6),
        ("1 A/cm", Dim::CurrentPerWidth, 1e-4),
        ("50 mA", Dim::Current, 0.05),
        ("4.1 eV", Dim::Energy, 4.1),
        ("63 meV", Dim::Energy, 0.063),
        ("1400 cm^2/(V*s)", Dim::Mobility, 1400.0),
        ("1400 cm2/Vs", Dim::Mobility, 1400.0),
        ("1400 cm²/(V·s)", Dim::Mobility, 1400.0),
        ("1400 cm^2/V/s", Dim::Mobility, 1400.0),
        ("1400 cm² V⁻¹ s⁻¹", Dim::Mobility, 1400.0),
        ("0.14 m^2/(V*s)", Dim::Mobility, 1400.0),
        ("1.07e7 cm/s", Dim::Velocity, 1.07e7),
        ("1e5 m/s", Dim::Velocity, 1e7),
        ("4e5 V/cm", Dim::Field, 4e5),
        ("0.4 MV/cm", Dim::Field, 4e5),
        ("7e5 /cm", Dim::PerLength, 7e5),
        ("70 1/um", Dim::PerLength, 7e5),
        ("2.8e-31 cm^6/s", Dim::Auger, 2.8e-31),
        ("1e-3 /K", Dim::PerTemperature, 1e-3),
        ("0.473 meV/K", Dim::EnergyPerTemperature, 4.73e-4),
    ] {
        reads(text, dim, wanted);
    }
}

#[test]
fn every_unit_of_the_table_is_read_and_every_example_too() {
    for dim in Dim::ALL {
        for unit in dim.units() {
            reads(&format!("2 {}", unit.spelling), dim, 2.0 * unit.factor + unit.offset);
        }
        if dim != Dim::Number {
            assert!(parse(dim.example(), dim).is_ok(), "{dim:?}");
            assert!(!dim.unit().is_empty() && pattern(dim).starts_with('^'), "{dim:?}");
            assert_eq!(dim.units()[0].factor, 1.0, "the plain unit of {dim:?} comes first");
        }
    }
}

#[test]
fn no_spelling_means_two_things() {
    // A unit that two dimensions share would make "wrong unit" messages lie.
    for dim in Dim::ALL {
        for unit in dim.units() {
            for other in Dim::ALL.into_iter().filter(|d| *d != dim) {
                let text = format!("1 {}", unit.spelling);
                assert!(parse(&text, other).is_err(), "{text}: {dim:?} and {other:?}");
            }
        }
    }
}

#[test]
fn what_is_no_quantity_is_refused_with_its_place() {
    for (text, dim, code, at) in [
        ("3", Dim::Length, "missing-unit", "3"),
        (" 3e2 ", Dim::Length, "missing-unit", "3e2"),
        ("", Dim::Length, "bad-number", ""),
        ("um", Dim::Length, "bad-number", "um"),
        (".", Dim::Length, "bad-number", "."),
        ("-um", Dim::Length, "bad-number", "-um"),
        ("nan um", Dim::Length, "bad-number", "nan um"),
        ("inf K", Dim::Temperature, "bad-number", "inf K"),
        ("1e999 um", Dim::Length, "bad-number", "1e999"),
        ("1,5 um", Dim::Length, "bad-number", "1,5 um"),
        ("1 2 um", Dim::Length, "wrong-unit", "2 um"),
        ("1.2.3 um", Dim::Length, "wrong-unit", ".3 um"),
        ("1e um", Dim::Length, "wrong-unit", "e um"),
        ("5 UM", Dim::Length, "wrong-unit", "UM"),
        ("5 µ", Dim::Length, "wrong-unit", "µ"),
        ("5 V", Dim::Length, "wrong-unit", "V"),
        ("5 C", Dim::Temperature, "wrong-unit", "C"),
    ] {
        let problem = parse(text, dim).expect_err(text);
        assert_eq!((problem.code, &text[problem.at.clone()]), (code, at), "{text:?}: {problem:?}");
        assert!(problem.help.contains(dim.example()), "{text:?}: {}", problem.help);
    }
    let problem = parse("3", Dim::Number).expect_err("text is no number");
    assert_eq!((problem.code, problem.at), ("wrong-type", 0..0));
}
