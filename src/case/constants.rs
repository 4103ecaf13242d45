//! Every constant of every law: key, unit, default, bounds, source. One table drives
//! the case reader, the schema, the docs and the record.

use std::collections::BTreeMap;

pub use super::constants_table::CONSTANTS;

/// The dimension a quantity is given in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dim {
    /// No unit.
    Number,
    /// µm
    Length,
    /// cm⁻³
    Density,
    /// cm⁻²
    AreaDensity,
    /// V
    Voltage,
    /// K
    Temperature,
    /// s
    Time,
    /// Hz
    Frequency,
    /// C/µm
    ChargePerLength,
    /// eV
    Energy,
    /// A/µm
    CurrentPerWidth,
    /// A
    Current,
    /// Ω·µm
    ResistanceWidth,
    /// F/µm
    CapacitancePerWidth,
    /// H·µm
    InductanceWidth,
    /// cm²/(V·s)
    Mobility,
    /// cm/s
    Velocity,
    /// V/cm
    Field,
    /// cm⁻¹
    PerLength,
    /// cm⁶/s
    Auger,
    /// K·cm²/W
    ThermalResistanceArea,
    /// K⁻¹
    PerTemperature,
    /// eV/K
    EnergyPerTemperature,
    /// V⁻¹
    PerVoltage,
    /// W/(cm·K)
    ThermalConductivity,
    /// cm·K/W
    ThermalResistivity,
    /// cm/W
    ThermalResistivityPerTemperature,
    /// cm/(W·K)
    ThermalResistivityPerSquare,
    /// J/(cm³·K)
    HeatCapacity,
}

/// One constant of one law.
#[derive(Debug, Clone, Copy)]
pub struct ConstantSpec {
    /// Table in `[constants]`.
    pub law: &'static str,
    /// Key in it.
    pub key: &'static str,
    pub dim: Dim,
    pub default: f64,
    /// Smallest and largest physical value.
    pub bounds: (f64, f64),
    pub doc: &'static str,
    pub source: &'static str,
}

/// Which donor's row a law takes: electrons in `masetti-1983` and `klaassen-1992`, donors in
/// `altermatt-2006`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ElectronRow {
    #[default]
    Arsenic,
    Phosphorus,
}

impl ElectronRow {
    /// The word of the case file.
    pub fn word(self) -> &'static str {
        match self {
            ElectronRow::Arsenic => "arsenic",
            ElectronRow::Phosphorus => "phosphorus",
        }
    }
}

/// One constant as a run uses it.
#[derive(Debug, Clone, Copy)]
pub struct InForce {
    pub spec: &'static ConstantSpec,
    /// In the unit of `spec.dim`.
    pub value: f64,
    /// True if the case gives it.
    pub given: bool,
}

/// The constants in force: the table's defaults and what the case overrides.
#[derive(Debug, Clone, Default)]
pub struct Constants {
    overrides: BTreeMap<(String, String), f64>,
    rows: BTreeMap<&'static str, ElectronRow>,
}

impl Constants {
    /// All defaults, every law with the row of this donor.
    pub fn with_electrons(row: ElectronRow) -> Constants {
        let rows = ROWS.iter().map(|(law, _)| (*law, row)).collect();
        Constants { rows, ..Constants::default() }
    }

    /// The donor whose row `law` takes.
    pub fn row(&self, law: &str) -> ElectronRow {
        self.rows.get(law).copied().unwrap_or_default()
    }

    /// Choose the row of `law`, one of [`ROWS`].
    pub fn set_row(&mut self, law: &'static str, row: ElectronRow) {
        self.rows.insert(law, row);
    }

    /// The value in force of `key` of `law`, in the unit of its [`Dim`]; NaN if the
    /// table has no such constant (a programming error that a test walks).
    pub fn get(&self, law: &str, key: &str) -> f64 {
        if let Some(v) = self.overrides.get(&(law.to_string(), key.to_string())) {
            return *v;
        }
        spec(law, key).map_or(f64::NAN, |s| self.default_of(s))
    }

    /// What `spec` is worth if the case does not give it: the table's default, or
    /// the number of the donor's row.
    pub fn default_of(&self, spec: &ConstantSpec) -> f64 {
        if spec.default.is_nan() { donor_row(self.row(spec.law), spec) } else { spec.default }
    }

    /// Override one constant; the caller has checked key and bounds.
    pub fn set(&mut self, law: &str, key: &str, value: f64) {
        self.overrides.insert((law.to_string(), key.to_string()), value);
    }

    /// True if the case gives this constant itself.
    pub fn is_set(&self, law: &str, key: &str) -> bool {
        self.overrides.contains_key(&(law.to_string(), key.to_string()))
    }

    /// All constants of the table, in its order, with the values in force.
    pub fn in_force(&self) -> Vec<InForce> {
        CONSTANTS
            .iter()
            .map(|spec| InForce {
                spec,
                value: self.get(spec.law, spec.key),
                given: self.is_set(spec.law, spec.key),
            })
            .collect()
    }
}

/// The table's entry for `key` of `law`.
pub fn spec(law: &str, key: &str) -> Option<&'static ConstantSpec> {
    CONSTANTS.iter().find(|s| s.law == law && s.key == key)
}

/// The constants that are a word: which donor's row the law takes.
pub const ROWS: [(&str, &str); 3] =
    [("masetti-1983", "electrons"), ("klaassen-1992", "electrons"), ("altermatt-2006", "donors")];

/// The donors' rows, by law and key; NaN for a key that has no row (a test walks them).
/// Masetti, Severi, Solmi 1983, Table I; Klaassen 1992; Altermatt et al. 2006, part II,
/// Table I.
fn donor_row(row: ElectronRow, spec: &ConstantSpec) -> f64 {
    let arsenic = row == ElectronRow::Arsenic;
    let pick = |a: f64, p: f64| if arsenic { a } else { p };
    match (spec.law, spec.key) {
        ("masetti-1983" | "klaassen-1992", "mu_max_n") => pick(1417.0, 1414.0),
        ("masetti-1983", "mu_1_n" | "mu_2_n") | ("klaassen-1992", "mu_min_n") => pick(52.2, 68.5),
        ("masetti-1983", "mu_3_n") => pick(43.4, 56.1),
        ("masetti-1983", "p_c_n") => 0.0,
        ("masetti-1983", "c_r_n") | ("klaassen-1992", "n_ref_n") => pick(9.68e16, 9.20e16),
        ("masetti-1983", "c_s_n") => pick(3.43e20, 3.41e20),
        ("masetti-1983" | "klaassen-1992", "alpha_n") => pick(0.680, 0.711),
        ("masetti-1983", "beta_n") => pick(2.00, 1.98),
        ("altermatt-2006", "e_d") => pick(53.7e-3, 45.5e-3),
        ("altermatt-2006", "n_ref_d") => pick(4e18, 3e18),
        ("altermatt-2006", "c_d") => pick(1.5, 2.0),
        ("altermatt-2006", "n_b_d") => pick(1.4e19, 6e18),
        ("altermatt-2006", "d_d") => pick(3.0, 2.3),
        _ => f64::NAN,
    }
}
