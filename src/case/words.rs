//! The word of the case file for each law.

use super::model::{
    Avalanche, Dopants, Heat, Lifetime, Mobility, Narrowing, Saturation, Statistics,
};

macro_rules! words {
    ($($law:ident { $($variant:ident = $word:literal),+ $(,)? })+) => { $(
        impl $law {
            /// The word of the case file.
            pub fn word(self) -> &'static str {
                match self { $($law::$variant => $word),+ }
            }
        }
    )+ };
}

words! {
    Mobility {
        Constant = "constant",
        Masetti1983 = "masetti-1983",
        Arora1982 = "arora-1982",
        Klaassen1992 = "klaassen-1992",
    }
    Saturation { None = "none", Canali1975 = "canali-1975" }
    Lifetime { Constant = "constant", FallsWithDoping = "falls-with-doping" }
    Narrowing {
        None = "none",
        Slotboom1977 = "slotboom-1977",
        DelAlamo1985 = "del-alamo-1985",
        Klaassen1992 = "klaassen-1992",
    }
    Avalanche {
        None = "none",
        VanOverstraeten1970 = "van-overstraeten-1970",
        OkutoCrowell1975 = "okuto-crowell-1975",
    }
    Statistics { Boltzmann = "boltzmann", FermiDirac = "fermi-dirac" }
    Dopants { Ionized = "ionized", Incomplete = "incomplete" }
    Heat { None = "none", SelfHeating = "self-heating" }
}
