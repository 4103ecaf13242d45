//! Quantities with units: "12 um", "1e17 cm^-3", "125 degC" to plain numbers in the
//! units of the case file. One table of spellings drives reader, messages and schema.

use std::ops::Range;

use super::constants::Dim;

/// One unit: how it is spelled, and the factor to the plain unit of its dimension.
#[derive(Debug, Clone, Copy)]
pub struct Unit {
    pub spelling: &'static str,
    pub factor: f64,
    /// Added after the factor; only temperatures have one.
    pub offset: f64,
}

/// What is wrong with the text of a quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct QuantityProblem {
    pub code: &'static str,
    pub text: String,
    pub label: String,
    pub help: String,
    /// Byte range within the text that was read; empty: the value as a whole.
    pub at: Range<usize>,
}

impl Dim {
    /// Every dimension.
    pub const ALL: [Dim; 29] = [
        Dim::Number,
        Dim::Length,
        Dim::Density,
        Dim::AreaDensity,
        Dim::Voltage,
        Dim::Temperature,
        Dim::Time,
        Dim::Frequency,
        Dim::ChargePerLength,
        Dim::Energy,
        Dim::CurrentPerWidth,
        Dim::Current,
        Dim::ResistanceWidth,
        Dim::CapacitancePerWidth,
        Dim::InductanceWidth,
        Dim::Mobility,
        Dim::Velocity,
        Dim::Field,
        Dim::PerLength,
        Dim::Auger,
        Dim::PerTemperature,
        Dim::EnergyPerTemperature,
        Dim::PerVoltage,
        Dim::ThermalConductivity,
        Dim::ThermalResistivity,
        Dim::ThermalResistivityPerTemperature,
        Dim::ThermalResistivityPerSquare,
        Dim::HeatCapacity,
        Dim::ThermalResistanceArea,
    ];

    /// With its article, for messages: "a length".
    pub fn name(self) -> &'static str {
        match self {
            Dim::Number => "a plain number",
            Dim::Length => "a length",
            Dim::Density => "a density",
            Dim::AreaDensity => "a density per area",
            Dim::Voltage => "a voltage",
            Dim::Temperature => "a temperature",
            Dim::Time => "a time",
            Dim::Frequency => "a frequency",
            Dim::ChargePerLength => "a charge per length",
            Dim::Energy => "an energy",
            Dim::CurrentPerWidth => "a current per width",
            Dim::Current => "a current",
            Dim::ResistanceWidth => "a resistance times width",
            Dim::CapacitancePerWidth => "a capacitance per width",
            Dim::InductanceWidth => "an inductance times width",
            Dim::Mobility => "a mobility",
            Dim::Velocity => "a velocity",
            Dim::Field => "an electric field",
            Dim::PerLength => "a rate per length",
            Dim::Auger => "an Auger coefficient",
            Dim::PerTemperature => "a rate per kelvin",
            Dim::EnergyPerTemperature => "an energy per kelvin",
            Dim::PerVoltage => "a rate per volt",
            Dim::ThermalConductivity => "a thermal conductivity",
            Dim::ThermalResistivity => "a thermal resistivity",
            Dim::ThermalResistivityPerTemperature => "a thermal resistivity per kelvin",
            Dim::ThermalResistivityPerSquare => "a thermal resistivity per square kelvin",
            Dim::HeatCapacity => "a heat capacity per volume",
            Dim::ThermalResistanceArea => "a specific thermal resistance",
        }
    }

    /// The unit that plain numbers are in; empty for [`Dim::Number`].
    pub fn unit(self) -> &'static str {
        self.units().first().map_or("", |u| u.spelling)
    }

    /// A quantity as it may be written in a case.
    pub fn example(self) -> &'static str {
        match self {
            Dim::Number => "1.5",
            Dim::Length => "12 um",
            Dim::Density => "1e17 cm^-3",
            Dim::AreaDensity => "5e11 cm^-2",
            Dim::Voltage => "3.3 V",
            Dim::Temperature => "125 degC",
            Dim::Time => "10 ns",
            Dim::Frequency => "1 MHz",
            Dim::ChargePerLength => "10 fC/um",
            Dim::Energy => "63 meV",
            Dim::CurrentPerWidth => "10 mA/um",
            Dim::Current => "50 mA",
            Dim::ResistanceWidth => "50 ohm*um",
            Dim::CapacitancePerWidth => "20 fF/um",
            Dim::InductanceWidth => "200 nH*um",
            Dim::Mobility => "1400 cm^2/(V*s)",
            Dim::Velocity => "1.07e7 cm/s",
            Dim::Field => "4e5 V/cm",
            Dim::PerLength => "7e5 /cm",
            Dim::Auger => "2.8e-31 cm^6/s",
            Dim::PerTemperature => "1e-3 /K",
            Dim::EnergyPerTemperature => "4.73e-4 eV/K",
            Dim::PerVoltage => "0.426 /V",
            Dim::ThermalConductivity => "0.014 W/(cm*K)",
            Dim::ThermalResistivity => "0.03 cm*K/W",
            Dim::ThermalResistivityPerTemperature => "1.56e-3 cm/W",
            Dim::ThermalResistivityPerSquare => "1.65e-6 cm/(W*K)",
            Dim::HeatCapacity => "1.63 J/(cm^3*K)",
            Dim::ThermalResistanceArea => "0.05 K*cm^2/W",
        }
    }
}

/// Spellings made equal: micro sign and Greek mu are `u`, ohm signs are `ohm`,
/// superscripts are digits; product signs, `^`, brackets and spaces say nothing.
fn plain_spelling(unit: &str) -> String {
    let mut out = String::with_capacity(unit.len());
    for ch in unit.trim().chars() {
        match ch {
            'µ' | 'μ' => out.push('u'),
            'Ω' | '\u{2126}' => out.push_str("ohm"),
            '°' => out.push_str("deg"),
            '\u{212B}' => out.push('Å'),
            '\u{212A}' => out.push('K'),
            '⁻' | '−' => out.push('-'),
            '¹' => out.push('1'),
            '²' => out.push('2'),
            '³' => out.push('3'),
            '⁶' => out.push('6'),
            '*' | '·' | '⋅' | '×' | '^' | '(' | ')' | ' ' | '\t' | '\u{a0}' | '\u{202f}' => {}
            other => out.push(other),
        }
    }
    out
}

/// The unit of `dim` that `text` spells.
fn find(dim: Dim, text: &str) -> Option<&'static Unit> {
    let wanted = plain_spelling(text);
    dim.units().iter().find(|u| plain_spelling(u.spelling) == wanted)
}

/// Length in bytes of the number that `text` starts with; 0 if it starts with none.
fn number_length(text: &str) -> usize {
    let b = text.as_bytes();
    let digits = |mut i: usize| {
        while b.get(i).is_some_and(u8::is_ascii_digit) {
            i += 1;
        }
        i
    };
    let start = usize::from(matches!(b.first(), Some(b'+' | b'-')));
    let mut end = digits(start);
    let mut any = end > start;
    if b.get(end) == Some(&b'.') {
        let fraction = digits(end + 1);
        any |= fraction > end + 1;
        end = fraction;
    }
    if !any {
        return 0;
    }
    if matches!(b.get(end), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(b.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits(end + 1 + sign);
        if exponent > end + 1 + sign {
            end = exponent;
        }
    }
    end
}

/// Reads a quantity with its unit; the answer is in the plain unit of `dim`.
///
/// Errors say which unit is wanted, and where in `text` the trouble lies.
pub fn parse(text: &str, dim: Dim) -> Result<f64, QuantityProblem> {
    let wants = format!("{}, e.g. \"{}\"", dim.name(), dim.example());
    let start = text.len() - text.trim_start().len();
    let body = text.trim();
    let problem = |code, text: String, label: &str, help: String, at: Range<usize>| {
        Err(QuantityProblem { code, text, label: label.to_string(), help, at })
    };
    if dim == Dim::Number {
        let help = if body.parse::<f64>().is_ok_and(f64::is_finite) {
            format!("write {body} without quotes")
        } else {
            "write a number without quotes and without a unit".to_string()
        };
        let why = format!("\"{text}\" is text, but a plain number is wanted");
        return problem("wrong-type", why, "a number is wanted", help, 0..0);
    }
    let length = number_length(body);
    if length == 0 {
        let why = format!("\"{text}\" does not start with a number");
        return problem(
            "bad-number",
            why,
            "no number here",
            format!("write {wants}"),
            0..text.len(),
        );
    }
    let (number, unit) = body.split_at(length);
    let number_at = start..start + length;
    if unit.trim_start().starts_with(',') {
        let why = format!("\"{text}\" has a comma where a decimal point is wanted");
        let at = start..start + body.len();
        return problem("bad-number", why, "use a point", format!("write {wants}"), at);
    }
    if unit.trim().is_empty() {
        let why = format!("\"{text}\" has no unit");
        let help = format!("write {number} without quotes ({}), or {wants}", dim.unit());
        return problem("missing-unit", why, "which unit?", help, number_at);
    }
    let unit_start = start + length + (unit.len() - unit.trim_start().len());
    let unit_at = unit_start..start + body.len();
    let unit = unit.trim();
    let Some(found) = find(dim, unit) else {
        let other = Dim::ALL.into_iter().find(|d| find(*d, unit).is_some());
        let what = match other {
            Some(d) => format!("`{unit}` is a unit of {}, but {} is wanted", bare(d), dim.name()),
            None => format!("`{unit}` is not a unit of {}", bare(dim)),
        };
        let known: Vec<&str> = dim.units().iter().map(|u| u.spelling).collect();
        let help = format!("write {wants}; units understood: {}", known.join(", "));
        return problem("wrong-unit", what, "wrong unit", help, unit_at);
    };
    match number.parse::<f64>().map(|v| v * found.factor + found.offset) {
        Ok(v) if v.is_finite() => Ok(v),
        _ => {
            let why = format!("{number} is no finite number");
            problem("bad-number", why, "not finite", format!("write {wants}"), number_at)
        }
    }
}

/// The dimension's name without its article.
fn bare(dim: Dim) -> &'static str {
    dim.name().trim_start_matches("an ").trim_start_matches("a ")
}

/// A regular expression (JSON Schema flavour) for text that [`parse`] reads.
pub fn pattern(dim: Dim) -> String {
    let units: Vec<String> = dim.units().iter().map(|u| unit_pattern(u.spelling)).collect();
    format!(r"^\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*({})\s*$", units.join("|"))
}

fn unit_pattern(spelling: &str) -> String {
    let spelling = spelling.replace("ohm", "Ω");
    let mut out = String::new();
    for ch in spelling.chars() {
        match ch {
            'u' => out.push_str("[uµμ]"),
            'Ω' => out.push_str("(ohm|[Ω\u{2126}])"),
            '*' => out.push_str(r"\s*[*·⋅×]?\s*"),
            '^' => out.push_str(r"\^?"),
            '(' | ')' => {
                out.push('\\');
                out.push(ch);
                out.push('?');
            }
            '/' => out.push_str(r"\s*/\s*"),
            '-' => out.push_str("[-⁻−]"),
            '1' => out.push_str("[1¹]"),
            '2' => out.push_str("[2²]"),
            '3' => out.push_str("[3³]"),
            '6' => out.push_str("[6⁶]"),
            other => out.push(other),
        }
    }
    out
}

/// A number as messages show it: short, with an exponent when that is shorter.
pub fn show(value: f64) -> String {
    let magnitude = value.abs();
    if magnitude != 0.0 && !(1e-3..1e6).contains(&magnitude) {
        format!("{value:e}")
    } else {
        format!("{value}")
    }
}
