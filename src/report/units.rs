//! Numbers for people: SI prefixes, four significant digits.

const PREFIXES: [(f64, &str); 9] = [
    (1e9, "G"),
    (1e6, "M"),
    (1e3, "k"),
    (1.0, ""),
    (1e-3, "m"),
    (1e-6, "µ"),
    (1e-9, "n"),
    (1e-12, "p"),
    (1e-15, "f"),
];

/// `digits` significant digits, no exponent, for magnitudes from 1 to 1000.
fn plain(value: f64, digits: i32) -> String {
    // 9.99996 with four digits is 10.00.
    let rounded = value.abs() * (1.0 + 5e-5);
    let whole = rounded.max(1.0).log10().floor() as i32 + 1;
    format!("{value:.*}", (digits - whole).max(0) as usize)
}

/// A value with an SI prefix on its unit: "1.234 µA/µm". Exactly zero is "0 A/µm"; what
/// the prefixes do not reach keeps its exponent; what is not a number is "none". Plain
/// numbers, lengths, densities and temperatures take no prefix.
pub(crate) fn si(value: f64, unit: &str) -> String {
    let unit = if unit == "1" { "" } else { unit };
    if value == 0.0 {
        return format!("0 {unit}").trim_end().to_string();
    }
    if !value.is_finite() {
        return "none".into();
    }
    if unit.is_empty() || ["cm", "K", "µm", "°"].iter().any(|p| unit.starts_with(p)) {
        let text = match value.abs() {
            1.0..1e5 => plain(value, 4),
            1e-3..1.0 => format!("{value:.*}", (3.0 - value.abs().log10().floor()) as usize),
            _ => format!("{value:.3e}"),
        };
        return format!("{text} {unit}").trim_end().to_string();
    }
    // 999.96 with four digits is 1000.0: choose the prefix for the rounded magnitude.
    let size = value.abs() * (1.0 + 5e-5);
    match PREFIXES.iter().find(|(scale, _)| size >= *scale) {
        Some((scale, prefix)) if size < 1e12 => {
            format!("{} {prefix}{unit}", plain(value / scale, 4))
        }
        _ => format!("{value:.3e} {unit}"),
    }
}

/// A value and its error bar with the same prefix: "22.32 V ± 0.15 V".
pub(crate) fn barred(value: f64, error: f64, unit: &str) -> String {
    let size = value.abs() * (1.0 + 5e-5);
    let prefix = PREFIXES.iter().find(|(scale, _)| size >= *scale && size < 1e12);
    let shown = match (prefix, error.is_finite()) {
        (Some((scale, prefix)), true) => {
            let scaled = error / scale;
            // Two significant digits, whole ones from 10 on.
            let decimals =
                if scaled > 0.0 { (1.0 - scaled.log10().floor()).clamp(0.0, 9.0) } else { 0.0 };
            format!("{scaled:.*} {prefix}{unit}", decimals as usize)
        }
        _ => si(error, unit),
    };
    format!("{} ± {shown}", si(value, unit))
}

/// Seconds as "0.4 s", "12 s", "3 min 05 s", "2 h 10 min".
pub(crate) fn duration(seconds: f64) -> String {
    if !seconds.is_finite() || seconds < 0.0 {
        return "unknown".into();
    }
    if seconds < 9.95 {
        return format!("{seconds:.1} s");
    }
    let whole = seconds.round() as u64;
    match whole {
        0..60 => format!("{whole} s"),
        60..3600 => format!("{} min {:02} s", whole / 60, whole % 60),
        _ => format!("{} h {:02} min", whole / 3600, whole / 60 % 60),
    }
}

#[cfg(test)]
mod tests {
    use super::{barred, duration, si};

    #[test]
    fn bars_share_the_prefix() {
        assert_eq!(barred(22.3249, 0.151, "V"), "22.32 V ± 0.15 V");
        assert_eq!(barred(334.04e-6, 41.2e-6, "A/µm"), "334.0 µA/µm ± 41 µA/µm");
        assert_eq!(barred(-1.0292, 0.00031, "V"), "-1.029 V ± 0.00031 V");
        assert_eq!(barred(3e-12, 2e-9, "A"), "3.000 pA ± 2000 pA");
        assert_eq!(barred(0.0, 1e-3, "V"), "0 V ± 1.000 mV");
    }

    #[test]
    fn prefixes_and_digits() {
        let shown = [
            (1.23456e-6, "1.235 µA"),
            (-0.045, "-45.00 mA"),
            (999.96e-9, "1.000 µA"),
            (3.3, "3.300 A"),
            (0.0, "0 A"),
            (4.2e-19, "4.200e-19 A"),
            (2.5e13, "2.500e13 A"),
            (f64::NAN, "none"),
            (812.5, "812.5 A"),
        ];
        for (value, text) in shown {
            assert_eq!(si(value, "A"), text);
        }
        let plain = [
            (9.99996, "V", "10.00 V"),
            (37.946, "", "37.95"),
            (0.5, "1", "0.5000"),
            (0.0, "", "0"),
            (-12345.6, "", "-12346"),
            (2e17, "cm⁻³", "2.000e17 cm⁻³"),
            (398.16, "K", "398.2 K"),
            (0.25, "µm", "0.2500 µm"),
        ];
        for (value, unit, text) in plain {
            assert_eq!(si(value, unit), text);
        }
    }

    #[test]
    fn durations() {
        assert_eq!(duration(0.44), "0.4 s");
        assert_eq!(duration(59.7), "1 min 00 s");
        assert_eq!(duration(185.0), "3 min 05 s");
        assert_eq!(duration(7830.0), "2 h 10 min");
        assert_eq!(duration(f64::INFINITY), "unknown");
    }
}
