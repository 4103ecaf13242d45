//! From what was read to the parts of a [`Case`](super::model::Case): the layout.
//! A part with a problem is left out; its problem has been reported.

use super::model::*;
use super::problem::Problem;
use super::profile_csv::{self, ProfileTable};
use super::units::show;
use super::walk::{At, Read, Value, Walker};

/// Gives the text of a file beside the case, or says why it cannot.
pub type Loader<'a> = &'a dyn Fn(&str) -> Result<String, String>;

/// Donors or acceptors, whichever is given.
fn doping(read: &Read) -> Option<(Polarity, f64)> {
    match (read.number("donors"), read.number("acceptors")) {
        (Some(n), None) => Some((Polarity::Donors, n)),
        (None, Some(n)) => Some((Polarity::Acceptors, n)),
        _ => None,
    }
}

pub fn wafer(read: &Read) -> Option<Wafer> {
    let epi = match read.table("epi") {
        Some(epi) => Some(Epi {
            thickness: epi.number("thickness")?,
            doping: doping(epi)?,
            handle: epi.number("handle")?,
            blur: epi.number("blur")?,
        }),
        None => None,
    };
    Some(Wafer {
        span: read.number("span")?,
        thickness: read.number("thickness")?,
        doping: doping(read),
        epi,
        at: read.at.clone(),
    })
}

pub fn slide(read: &Read) -> Option<Slide> {
    Some(Slide {
        name: read.text("name")?.value,
        right_of: read.number("right_of")?,
        at: read.at.clone(),
    })
}

impl Walker<'_> {
    /// A well or diffusion on silicon of this thickness [µm].
    pub fn piece(&mut self, read: &Read, thickness: f64, load: Loader<'_>) -> Option<Piece> {
        let polarity_peak = doping(read);
        let profile = match read.word("shape")? {
            "box" => Profile::Box {
                top: read.number("top")?,
                bottom: match read.field("bottom") {
                    Some(_) => read.number("bottom")?,
                    None => thickness,
                },
            },
            "table" => {
                let table = self.profile(&read.text("file")?, load)?;
                Profile::Table { depth: table.depth, density: table.density }
            }
            shape => {
                let crest = read.number("crest")?;
                let depth = match (read.number("falloff"), read.number("junction_depth")) {
                    (Some(f), None) => Depth::Falloff(f),
                    (None, Some(j)) => Depth::Junction(j),
                    _ => return None,
                };
                match shape {
                    "erfc" => Profile::Erfc { crest, depth },
                    _ => Profile::Gaussian { crest, depth },
                }
            }
        };
        let (polarity, mut peak) = polarity_peak?;
        if let Profile::Table { density, .. } = &profile {
            let most = density.iter().copied().fold(0.0, f64::max);
            if (peak / most - 1.0).abs() > 0.01 {
                let key = if polarity == Polarity::Donors { "donors" } else { "acceptors" };
                let text = format!(
                    "the table's own densities are used: its maximum is {} cm^-3, not {}",
                    show(most),
                    show(peak)
                );
                self.push(
                    Problem::warning("peak-not-used", Some(read.at(key)), text)
                        .label("only says the polarity here")
                        .help(format!("write {key} = {}", show(most))),
                );
            }
            peak = most;
        }
        let name = read.text("name")?;
        Some(Piece {
            name: name.value,
            polarity,
            peak,
            from: read.number("from")?,
            to: read.number("to")?,
            spread: read.number("spread")?,
            profile,
            at: name.at,
        })
    }

    fn profile(&mut self, file: &At<String>, load: Loader<'_>) -> Option<ProfileTable> {
        let problem = match load(&file.value) {
            Ok(text) => match profile_csv::parse(&text) {
                Ok(table) => return Some(table),
                Err(p) => Problem::error(
                    p.code,
                    Some(file.at.clone()),
                    format!("{}: {}", file.value, p.text),
                )
                .label("in this file")
                .help(p.help),
            },
            Err(why) => Problem::error("profile-file", Some(file.at.clone()), why)
                .label("cannot be used")
                .help("name a CSV file that lies in the folder of the case file"),
        };
        self.push(problem);
        None
    }

    pub fn touches(&mut self, read: &Read) -> Option<Vec<Touch>> {
        let pieces = read.tables("touches");
        let mut out = Vec::new();
        let mut good = true;
        for piece in pieces {
            match self.touch(piece) {
                Some(touch) => out.push(touch),
                None => good = false,
            }
        }
        if let (true, Some(field)) = (pieces.is_empty(), read.field("touches")) {
            if matches!(field.value, Value::Tables(_)) {
                self.push(
                    Problem::error("empty-list", Some(field.at.clone()), "`touches` is empty")
                        .label("this terminal touches nothing")
                        .help("write e.g. touches = [{ from = 1.0, to = 2.0 }]"),
                );
            }
            return None;
        }
        good.then_some(out)
    }

    fn touch(&mut self, read: &Read) -> Option<Touch> {
        if read.field("side").is_some() {
            if let (None, Some(to)) = (read.field("from"), read.field("to")) {
                let text = "a piece of a terminal takes `side` or `from` and `to`, not both";
                self.push(
                    Problem::error("exclusive-keys", Some(to.key_at.clone()), text)
                        .label("leave one of them out")
                        .help("write { side = \"left\" } or { from = 1.0, to = 2.0 }"),
                );
                return None;
            }
            return match read.word("side")? {
                "left" => Some(Touch::Side(Side::Left)),
                "right" => Some(Touch::Side(Side::Right)),
                _ => Some(Touch::Side(Side::Back)),
            };
        }
        if read.field("from").is_some() && read.field("to").is_none() && !read.bad {
            let text = "terminal.touches needs `to` beside `from`";
            self.push(
                Problem::error("missing-key", Some(read.at.clone()), text)
                    .label("`to` is missing")
                    .help("write e.g. { from = 1.0, to = 2.0 }"),
            );
            return None;
        }
        Some(Touch::Surface { from: read.number("from")?, to: read.number("to")? })
    }
}

pub fn trench(read: &Read) -> Option<Trench> {
    Some(Trench {
        from: read.number("from")?,
        to: read.number("to")?,
        depth: read.number("depth")?,
        fixed_charge: read.number("fixed_charge")?,
        at: read.at.clone(),
    })
}

pub fn gate(read: &Read) -> Option<Gate> {
    let plate = match &read.field("plate")?.value {
        Value::Word("n+ poly") => Plate::NPoly,
        Value::Word(_) => Plate::PPoly,
        Value::Table(t) => Plate::WorkFunction(t.number("work_function")?),
        _ => return None,
    };
    let name = read.text("name")?;
    Some(Gate {
        name: name.value,
        from: read.number("from")?,
        to: read.number("to")?,
        oxide: read.number("oxide")?,
        plate,
        fixed_charge: read.number("fixed_charge")?,
        follows: read.text("follows").map(|f| f.value),
        at: name.at,
    })
}

pub fn terminal(read: &Read, touches: Option<Vec<Touch>>) -> Option<Terminal> {
    let role = match read.word("role")? {
        "cathode" => Role::Cathode,
        "anode" => Role::Anode,
        "well-tap" => Role::WellTap,
        "substrate-tap" => Role::SubstrateTap,
        "drain" => Role::Drain,
        "guard" => Role::Guard,
        _ => Role::None,
    };
    let name = read.text("name")?;
    Some(Terminal {
        name: name.value,
        role,
        touches: touches?,
        resistance: read.number("resistance")?,
        inductance: read.number("inductance")?,
        capacitance: read.number("capacitance")?,
        at: name.at,
    })
}

pub fn laws(read: Option<&Read>) -> Option<Laws> {
    let mut laws = Laws::default();
    let Some(read) = read else { return Some(laws) };
    laws.mobility = match read.word("mobility")? {
        "constant" => Mobility::Constant,
        "arora-1982" => Mobility::Arora1982,
        "klaassen-1992" => Mobility::Klaassen1992,
        _ => Mobility::Masetti1983,
    };
    laws.saturation = match read.word("saturation")? {
        "none" => Saturation::None,
        _ => Saturation::Canali1975,
    };
    let recombination = read.words("recombination");
    laws.shockley_read_hall = recombination.contains(&"shockley-read-hall");
    laws.auger = recombination.contains(&"auger");
    laws.surface = recombination.contains(&"surface");
    laws.lifetime = match read.word("lifetime")? {
        "constant" => Lifetime::Constant,
        _ => Lifetime::FallsWithDoping,
    };
    laws.narrowing = match read.word("narrowing")? {
        "none" => Narrowing::None,
        "del-alamo-1985" => Narrowing::DelAlamo1985,
        "klaassen-1992" => Narrowing::Klaassen1992,
        _ => Narrowing::Slotboom1977,
    };
    laws.avalanche = match read.word("avalanche")? {
        "none" => Avalanche::None,
        "okuto-crowell-1975" => Avalanche::OkutoCrowell1975,
        _ => Avalanche::VanOverstraeten1970,
    };
    laws.statistics = match read.word("statistics")? {
        "fermi-dirac" => Statistics::FermiDirac,
        _ => Statistics::Boltzmann,
    };
    laws.dopants = match read.word("dopants")? {
        "incomplete" => Dopants::Incomplete,
        _ => Dopants::Ionized,
    };
    laws.heat = match read.word("heat")? {
        "self-heating" => Heat::SelfHeating,
        _ => Heat::None,
    };
    Some(laws)
}

pub fn heat(read: Option<&Read>) -> HeatPaths {
    let path = |key| read.and_then(|r| r.number(key));
    HeatPaths { surface: path("surface"), back: path("back"), terminals: path("terminals") }
}

pub fn verdict(read: &Read) -> Option<VerdictSpec> {
    Some(VerdictSpec {
        supply: read.number("supply")?,
        margin: read.number("margin")?,
        supply_current: read.number("supply_current"),
    })
}

pub fn grid(read: Option<&Read>) -> Grid {
    let Some(read) = read else {
        return Grid { nodes: Some(super::key_tables::NODES), ..Grid::default() };
    };
    let lines = |key| read.numbers(key).map(|l| l.iter().map(|v| v.value).collect::<Vec<f64>>());
    let (x, y) = (lines("x"), lines("y"));
    let given = read.number("nodes").map(|n| n as usize);
    let default = (x.is_none() || y.is_none()).then_some(super::key_tables::NODES);
    Grid {
        nodes: given.or(default),
        finest: read.number("finest"),
        growth: read.number("growth"),
        grading: match read.word("grading") {
            Some("solution") => Grading::Solution,
            _ => Grading::Structure,
        },
        x,
        y,
        at: read.at.clone(),
    }
}
