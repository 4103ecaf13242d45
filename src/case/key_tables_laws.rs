//! The keys of the case file: laws.

use super::keys::*;

const LAW_MOBILITY: &[Word] = &[
    word("constant", "mu_n and mu_p of [constants] mobility"),
    word("masetti-1983", "falls with total doping and temperature"),
    word("arora-1982", "falls with total doping and temperature, 250 to 500 K"),
    word("klaassen-1992", "unified: lattice, dopants, screening and scattering by carriers"),
];
const LAW_SATURATION: &[Word] = &[
    word("none", "mobility does not fall with the field"),
    word("canali-1975", "velocity saturates along the current"),
];
const LAW_RECOMBINATION: &[Word] = &[
    word("shockley-read-hall", "through a trap level, mid-gap unless `level` says otherwise"),
    word("auger", "band to band, three carriers"),
    word("surface", "through interface states where silicon meets oxide"),
];
const LAW_LIFETIME: &[Word] = &[
    word("constant", "tau_n0 and tau_p0 (T/300)^tau_exponent at every doping"),
    word("falls-with-doping", "tau_0 (T/300)^tau_exponent/(1 + N/n_half)"),
];
const LAW_NARROWING: &[Word] = &[
    word("none", "the gap does not depend on doping"),
    word("slotboom-1977", "narrowing by total doping, half on each band"),
    word("del-alamo-1985", "narrowing above 7e17 only, as measured on n-type"),
    word("klaassen-1992", "narrowing that goes with mobility = \"klaassen-1992\""),
];
const LAW_AVALANCHE: &[Word] = &[
    word("none", "no impact ionization"),
    word("van-overstraeten-1970", "a exp(-b/E) along each carrier's current"),
    word("okuto-crowell-1975", "a E exp(-(b/E)^2) with its own temperature coefficients"),
];
const LAW_STATISTICS: &[Word] = &[
    word("boltzmann", "exponential densities"),
    word("fermi-dirac", "densities by Fermi integrals, diffusion enhanced"),
];
const LAW_DOPANTS: &[Word] = &[
    word("ionized", "all dopants are ionized"),
    word("incomplete", "dopant levels are filled by density and temperature"),
];
const LAW_HEAT: &[Word] = &[
    word("none", "the lattice is at ambient temperature"),
    word("self-heating", "the lattice temperature is solved for; [heat] says where heat leaves"),
];

/// Laws of later versions that may already stand in `[constants]`.
pub const LATER_CONSTANTS: &[&str] = &["self-heating"];

pub static LAWS: TableSpec = TableSpec {
    name: "[laws]",
    id: "laws",
    selector: None,
    groups: &[],
    doc: "A law is named by author and year, as it would be cited.",
    keys: &[
        choice("mobility", LAW_MOBILITY, "klaassen-1992", "Low-field mobility."),
        choice("saturation", LAW_SATURATION, "canali-1975", "Mobility at high field."),
        KeySpec {
            key: "recombination",
            kind: Kind::Words(LAW_RECOMBINATION),
            absent: Absent::Words(&["shockley-read-hall", "auger"]),
            only: &[],
            doc: "Recombination; an empty list switches it off.",
        },
        choice("lifetime", LAW_LIFETIME, "falls-with-doping", "Shockley-Read-Hall lifetimes."),
        choice("narrowing", LAW_NARROWING, "klaassen-1992", "Narrowing of the gap by doping."),
        choice("avalanche", LAW_AVALANCHE, "van-overstraeten-1970", "Impact ionization."),
        choice("statistics", LAW_STATISTICS, "boltzmann", "Carrier statistics."),
        choice("dopants", LAW_DOPANTS, "ionized", "Ionization of the dopants."),
        choice("heat", LAW_HEAT, "none", "Lattice heating."),
    ],
};
