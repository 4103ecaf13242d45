//! The units of each dimension, as they may be spelled.

use super::constants::Dim;
use super::units::Unit;

const fn u(spelling: &'static str, factor: f64) -> Unit {
    Unit { spelling, factor, offset: 0.0 }
}

/// Zero degrees Celsius in kelvin (SI brochure).
const CELSIUS_ZERO: f64 = 273.15;

impl Dim {
    /// All units understood, the plain one first.
    pub fn units(self) -> &'static [Unit] {
        match self {
            Dim::Number => &[],
            Dim::Length => {
                const T: &[Unit] = &[
                    u("um", 1.0),
                    u("nm", 1e-3),
                    u("Å", 1e-4),
                    u("angstrom", 1e-4),
                    u("mm", 1e3),
                    u("cm", 1e4),
                    u("m", 1e6),
                ];
                T
            }
            Dim::Density => {
                const T: &[Unit] = &[
                    u("cm^-3", 1.0),
                    u("/cm^3", 1.0),
                    u("1/cm^3", 1.0),
                    u("m^-3", 1e-6),
                    u("/m^3", 1e-6),
                    u("1/m^3", 1e-6),
                    u("um^-3", 1e12),
                    u("/um^3", 1e12),
                ];
                T
            }
            Dim::AreaDensity => {
                const T: &[Unit] = &[
                    u("cm^-2", 1.0),
                    u("/cm^2", 1.0),
                    u("1/cm^2", 1.0),
                    u("m^-2", 1e-4),
                    u("/m^2", 1e-4),
                    u("1/m^2", 1e-4),
                ];
                T
            }
            Dim::Voltage => {
                const T: &[Unit] = &[u("V", 1.0), u("mV", 1e-3), u("uV", 1e-6), u("kV", 1e3)];
                T
            }
            Dim::Temperature => {
                const T: &[Unit] = &[
                    u("K", 1.0),
                    Unit { spelling: "degC", factor: 1.0, offset: CELSIUS_ZERO },
                    Unit { spelling: "°C", factor: 1.0, offset: CELSIUS_ZERO },
                ];
                T
            }
            Dim::Time => {
                const T: &[Unit] = &[
                    u("s", 1.0),
                    u("ms", 1e-3),
                    u("us", 1e-6),
                    u("ns", 1e-9),
                    u("ps", 1e-12),
                    u("fs", 1e-15),
                ];
                T
            }
            Dim::Frequency => {
                const T: &[Unit] =
                    &[u("Hz", 1.0), u("kHz", 1e3), u("MHz", 1e6), u("GHz", 1e9), u("THz", 1e12)];
                T
            }
            Dim::ChargePerLength => {
                const T: &[Unit] = &[
                    u("C/um", 1.0),
                    u("pC/um", 1e-12),
                    u("fC/um", 1e-15),
                    u("aC/um", 1e-18),
                    u("C/m", 1e-6),
                ];
                T
            }
            Dim::Energy => {
                const T: &[Unit] = &[u("eV", 1.0), u("meV", 1e-3), u("keV", 1e3)];
                T
            }
            Dim::CurrentPerWidth => {
                const T: &[Unit] = &[
                    u("A/um", 1.0),
                    u("mA/um", 1e-3),
                    u("uA/um", 1e-6),
                    u("nA/um", 1e-9),
                    u("pA/um", 1e-12),
                    u("fA/um", 1e-15),
                    u("A/mm", 1e-3),
                    u("mA/mm", 1e-6),
                    u("A/cm", 1e-4),
                    u("mA/cm", 1e-7),
                    u("A/m", 1e-6),
                ];
                T
            }
            Dim::Current => {
                const T: &[Unit] =
                    &[u("A", 1.0), u("mA", 1e-3), u("uA", 1e-6), u("nA", 1e-9), u("pA", 1e-12)];
                T
            }
            Dim::ResistanceWidth => {
                const T: &[Unit] = &[
                    u("ohm*um", 1.0),
                    u("mohm*um", 1e-3),
                    u("kohm*um", 1e3),
                    u("Mohm*um", 1e6),
                    u("ohm*mm", 1e3),
                    u("ohm*cm", 1e4),
                    u("ohm*m", 1e6),
                ];
                T
            }
            Dim::CapacitancePerWidth => {
                const T: &[Unit] = &[
                    u("F/um", 1.0),
                    u("nF/um", 1e-9),
                    u("pF/um", 1e-12),
                    u("fF/um", 1e-15),
                    u("F/m", 1e-6),
                    u("pF/mm", 1e-15),
                ];
                T
            }
            Dim::InductanceWidth => {
                const T: &[Unit] = &[
                    u("H*um", 1.0),
                    u("uH*um", 1e-6),
                    u("nH*um", 1e-9),
                    u("pH*um", 1e-12),
                    u("nH*mm", 1e-6),
                ];
                T
            }
            Dim::Mobility => {
                const T: &[Unit] = &[
                    u("cm^2/(V*s)", 1.0),
                    u("cm^2/V/s", 1.0),
                    u("cm^2*V^-1*s^-1", 1.0),
                    u("m^2/(V*s)", 1e4),
                    u("m^2/V/s", 1e4),
                ];
                T
            }
            Dim::Velocity => {
                const T: &[Unit] = &[u("cm/s", 1.0), u("m/s", 1e2), u("km/s", 1e5)];
                T
            }
            Dim::Field => {
                const T: &[Unit] = &[
                    u("V/cm", 1.0),
                    u("kV/cm", 1e3),
                    u("MV/cm", 1e6),
                    u("V/m", 1e-2),
                    u("V/um", 1e4),
                    u("V/nm", 1e7),
                ];
                T
            }
            Dim::PerLength => {
                const T: &[Unit] = &[
                    u("/cm", 1.0),
                    u("cm^-1", 1.0),
                    u("1/cm", 1.0),
                    u("/um", 1e4),
                    u("um^-1", 1e4),
                    u("1/um", 1e4),
                    u("/m", 1e-2),
                    u("m^-1", 1e-2),
                ];
                T
            }
            Dim::Auger => {
                const T: &[Unit] = &[u("cm^6/s", 1.0), u("cm^6*s^-1", 1.0), u("m^6/s", 1e12)];
                T
            }
            Dim::ThermalResistanceArea => {
                const T: &[Unit] = &[
                    u("K*cm^2/W", 1.0),
                    u("K*mm^2/W", 1e-2),
                    u("K*um^2/W", 1e-8),
                    u("K*m^2/W", 1e4),
                    u("K*cm^2/mW", 1e3),
                ];
                T
            }
            Dim::PerTemperature => {
                const T: &[Unit] = &[u("/K", 1.0), u("K^-1", 1.0), u("1/K", 1.0)];
                T
            }
            Dim::EnergyPerTemperature => {
                const T: &[Unit] = &[u("eV/K", 1.0), u("meV/K", 1e-3)];
                T
            }
            Dim::PerVoltage => {
                const T: &[Unit] = &[u("/V", 1.0), u("V^-1", 1.0), u("1/V", 1.0)];
                T
            }
            Dim::ThermalConductivity => {
                const T: &[Unit] =
                    &[u("W/(cm*K)", 1.0), u("W/cm/K", 1.0), u("W/(m*K)", 1e-2), u("W/m/K", 1e-2)];
                T
            }
            Dim::ThermalResistivity => {
                const T: &[Unit] = &[u("cm*K/W", 1.0), u("m*K/W", 1e2)];
                T
            }
            Dim::ThermalResistivityPerTemperature => {
                const T: &[Unit] = &[u("cm/W", 1.0), u("m/W", 1e2)];
                T
            }
            Dim::ThermalResistivityPerSquare => {
                const T: &[Unit] = &[u("cm/(W*K)", 1.0), u("cm/W/K", 1.0), u("m/(W*K)", 1e2)];
                T
            }
            Dim::HeatCapacity => {
                const T: &[Unit] =
                    &[u("J/(cm^3*K)", 1.0), u("J/cm^3/K", 1.0), u("J/(m^3*K)", 1e-6)];
                T
            }
        }
    }
}
