//! Low-field mobility: which law is in force, and its rows at the ambient temperature.

use crate::case::{Constants, Mobility};

use super::Carrier;
use super::ambient::AmbientKlaassen;
use super::arora::Arora;
use super::dual::Dual;
use super::klaassen::Klaassen;
use super::masetti::Masetti;

/// Where a mobility is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MobilityPoint {
    /// Ionized or chemical densities [cm⁻³].
    pub donors: f64,
    pub acceptors: f64,
    /// Carrier densities [cm⁻³]; laws of the doping alone do not look at them.
    pub n: f64,
    pub p: f64,
    /// Lattice temperature \[K\].
    pub temperature: f64,
}

impl MobilityPoint {
    /// A point in total doping `total` [cm⁻³] for laws that depend on nothing else.
    pub fn doped(total: f64, temperature: f64) -> MobilityPoint {
        MobilityPoint { donors: total, acceptors: 0.0, n: 0.0, p: 0.0, temperature }
    }
}

/// Mobility [cm²/(V·s)] and its derivatives by n, p [cm⁵/(V·s)] and T [cm²/(V·s·K)].
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MobilityValue {
    pub value: f64,
    pub by_n: f64,
    pub by_p: f64,
    pub by_temperature: f64,
}

impl From<Dual<3>> for MobilityValue {
    fn from(d: Dual<3>) -> Self {
        let [by_n, by_p, by_temperature] = d.by;
        MobilityValue { value: d.value, by_n, by_p, by_temperature }
    }
}

/// Low-field mobility of both carriers.
#[derive(Debug, Clone, PartialEq)]
pub enum MobilityLaw {
    /// The same everywhere and at every temperature [cm²/(V·s)].
    Constant { n: f64, p: f64 },
    /// Masetti, Severi, Solmi, IEEE Trans. Electron Devices 30, 764 (1983), eqs. 1 and 4.
    Masetti1983 { n: Masetti, p: Masetti },
    /// Arora, Hauser, Roulston, IEEE Trans. Electron Devices 29, 292 (1982).
    Arora1982 { n: Arora, p: Arora },
    /// Klaassen, Solid-State Electron. 35, 953 and 961 (1992).
    Klaassen1992(Box<Klaassen>),
}

impl MobilityLaw {
    /// The law in force; what it needs at `ambient` \[K\] is computed here, once.
    pub fn new(law: Mobility, constants: &Constants, ambient: f64) -> MobilityLaw {
        match law {
            Mobility::Constant => MobilityLaw::Constant {
                n: constants.get("mobility", "mu_n"),
                p: constants.get("mobility", "mu_p"),
            },
            Mobility::Masetti1983 => MobilityLaw::Masetti1983 {
                n: Masetti::new(constants, "n", ambient),
                p: Masetti::new(constants, "p", ambient),
            },
            Mobility::Arora1982 => MobilityLaw::Arora1982 {
                n: Arora::new(constants, "n", ambient),
                p: Arora::new(constants, "p", ambient),
            },
            Mobility::Klaassen1992 => {
                MobilityLaw::Klaassen1992(Box::new(Klaassen::new(constants, ambient)))
            }
        }
    }

    /// False: the doping and the temperature alone decide, and one evaluation per device
    /// is enough while the temperature stays.
    pub fn depends_on_densities(&self) -> bool {
        matches!(self, MobilityLaw::Klaassen1992(_))
    }

    /// One carrier's law at the ambient temperature, if it looks at the carriers.
    pub fn ambient(&self, carrier: Carrier) -> Option<AmbientKlaassen> {
        match self {
            MobilityLaw::Klaassen1992(law) => Some(law.ambient(carrier)),
            _ => None,
        }
    }

    /// Densities of donors and acceptors as they scatter [cm⁻³].
    pub fn scatterers(&self, donors: f64, acceptors: f64) -> [f64; 2] {
        match self {
            MobilityLaw::Klaassen1992(law) => law.clustered(donors, acceptors),
            _ => [donors, acceptors],
        }
    }

    /// Mobility with its derivatives. At the ambient temperature this is fast; at any
    /// other, the law's temperature dependence is evaluated too.
    pub fn at(&self, carrier: Carrier, point: &MobilityPoint) -> MobilityValue {
        let total = point.donors + point.acceptors;
        let constant = |value| MobilityValue { value, ..MobilityValue::default() };
        match (self, carrier) {
            (MobilityLaw::Constant { n, .. }, Carrier::Electron) => constant(*n),
            (MobilityLaw::Constant { p, .. }, Carrier::Hole) => constant(*p),
            (MobilityLaw::Masetti1983 { n, .. }, Carrier::Electron) => {
                n.at(total, point.temperature)
            }
            (MobilityLaw::Masetti1983 { p, .. }, Carrier::Hole) => p.at(total, point.temperature),
            (MobilityLaw::Arora1982 { n, .. }, Carrier::Electron) => n.at(total, point.temperature),
            (MobilityLaw::Arora1982 { p, .. }, Carrier::Hole) => p.at(total, point.temperature),
            (MobilityLaw::Klaassen1992(law), _) => law.at(carrier, point),
        }
    }
}
