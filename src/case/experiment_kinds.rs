//! What each kind of experiment says beside its terminals.

use super::experiment_read::Nodes;
use super::experiments::{ExperimentKind, Forced, IdleEmitter, Shape, Sign, Stop, Track, Wanted};
use super::key_tables_run::{GAINS_STOP, STOP_CURRENT};
use super::problem::Problem;
use super::walk::{Read, Value, Walker};

/// Roles without which the bipolars cannot be told apart.
const BIPOLARS: &[&str] = &["cathode", "anode", "well-tap", "substrate-tap"];

impl Walker<'_> {
    /// The experiment's kind; `None` if something in it is missing or wrong, which has been
    /// reported.
    pub fn kind(&mut self, read: &Read, kind: &str, nodes: &Nodes) -> Option<ExperimentKind> {
        let drive: Vec<String> = read.names("drive").iter().map(|n| n.value.clone()).collect();
        let into = || read.text("into").map(|t| t.value);
        let settle = read.number("settle");
        Some(match kind {
            "snapback" => ExperimentKind::Snapback { drive, stop: stop(read, STOP_CURRENT) },
            "injection" => {
                self.held_supply(read);
                ExperimentKind::Injection {
                    into: into()?,
                    sign: if read.word("sign")? == "-" { Sign::Negative } else { Sign::Positive },
                    stop: stop(read, STOP_CURRENT),
                    level: read.number("level"),
                    injector_width: read.number("injector_width").or(nodes.width)?,
                    confirm: read.word("confirm")? == "ramp",
                }
            }
            "bias" => {
                let at = read.numbers("at")?.iter().map(|v| v.value).collect();
                ExperimentKind::Bias { drive, at }
            }
            "gains" => {
                self.roles(read, nodes);
                ExperimentKind::Gains {
                    supply: self.supply(read, nodes, "supply")?,
                    idle: match read.word("idle_emitter")? {
                        "open" => IdleEmitter::Open,
                        _ => IdleEmitter::Tied,
                    },
                    stop: stop(read, GAINS_STOP),
                }
            }
            "resistances" => {
                self.roles(read, nodes);
                ExperimentKind::Resistances { supply: self.supply(read, nodes, "supply")? }
            }
            "overvoltage" => {
                let supply = self.supply(read, nodes, "supply")?;
                let to = match read.number("to") {
                    Some(to) => to,
                    None => supply * read.number("factor")?,
                };
                if to <= supply {
                    let text = format!("the supply of {supply} V is not raised: {to} V");
                    self.push(
                        Problem::error("not-raised", Some(read.at("kind")), text)
                            .label("nothing is tested")
                            .help("give a `to` above the supply, or a `factor` above 1"),
                    );
                }
                ExperimentKind::Overvoltage { drive, supply, to }
            }
            "supply-ramp" => {
                let to = match read.number("to") {
                    Some(to) => to,
                    None => self.supply(read, nodes, "to")?,
                };
                ExperimentKind::SupplyRamp { drive, to, rise: self.wanted(read, "rise")?, settle }
            }
            "pulse" => {
                self.held_supply(read);
                ExperimentKind::Pulse { into: into()?, shape: self.shape(read)?, settle }
            }
            "strike" => {
                self.held_supply(read);
                let track = Track {
                    at: read.number("at")?,
                    angle: read.number("angle")?,
                    reach: read.number("reach")?,
                    radius: read.number("radius")?,
                    charge: self.wanted(read, "charge_per_um")?,
                    time: read.number("time")?,
                };
                ExperimentKind::Strike { track, settle }
            }
            _ => {
                let frequencies = read.numbers("frequencies")?.iter().map(|f| f.value).collect();
                ExperimentKind::Capacitance { frequencies }
            }
        })
    }

    /// Reports a role that the bipolars need and no terminal has, or open ones only.
    fn roles(&mut self, read: &Read, nodes: &Nodes) {
        let open = read.names("open");
        let Some((role, out)) = nodes.without(BIPOLARS, open) else { return };
        let text = match out.is_empty() {
            true => format!("no terminal has the role \"{role}\", which this experiment needs"),
            false => {
                format!("every terminal with the role \"{role}\" is open: it carries no current")
            }
        };
        let mut problem = Problem::error("missing-role", Some(read.at("kind")), text)
            .label("cannot tell the bipolars' terminals")
            .help(format!(
                "give one terminal each of the roles {}; this case has {}",
                BIPOLARS.join(", "),
                nodes.with_roles()
            ));
        if let Some(one) = out.first() {
            problem = problem.other(one.at.clone(), "left open here");
        }
        self.push(problem);
    }

    /// Reports a stimulus without a supply that could keep the structure on.
    fn held_supply(&mut self, read: &Read) {
        let highest = match read.field("bias").map(|f| &f.value) {
            Some(Value::Voltages(v)) => v.iter().fold(0.0f64, |m, (_, v)| m.max(*v)),
            Some(_) => return,
            None => 0.0,
        };
        if highest <= 0.0 {
            let at = read.field("bias").map_or(read.at("kind"), |f| f.at.clone());
            self.push(
                Problem::error("no-supply", Some(at), "no terminal is held above 0 V")
                    .label("a supply of zero keeps nothing on")
                    .help("write e.g. bias = { anode = 3.3, well-tap = 3.3 }"),
            );
        }
    }

    /// The experiment's supply, else the verdict's.
    fn supply(&mut self, read: &Read, nodes: &Nodes, key: &str) -> Option<f64> {
        if let Some(own) = read.number("supply") {
            return Some(own);
        }
        if read.field("supply").is_none() && nodes.supply.is_none() {
            let text = "there is no supply: neither here nor in [verdict]";
            self.push(
                Problem::error("missing-supply", Some(read.at("kind")), text)
                    .label(format!("needs `{key}`"))
                    .help(format!("write {key} = \"3.3 V\" here, or a [verdict] with supply")),
            );
        }
        nodes.supply
    }

    /// A number or the range of a search, low end first.
    fn wanted(&mut self, read: &Read, key: &str) -> Option<Wanted> {
        let field = read.field(key)?;
        match &field.value {
            Value::Number(v) => Some(Wanted::Given(*v)),
            Value::Table(range) => {
                let (from, to) = (range.number("from")?, range.number("to")?);
                let same_sign = from * to > 0.0;
                if !same_sign || from.abs() >= to.abs() {
                    let text = format!("`{key}`: the search runs from {from:e} to {to:e}");
                    self.push(
                        Problem::error("empty-range", Some(field.at.clone()), text)
                            .label("not a range to search")
                            .help("`from` is the smaller magnitude, `to` the larger, of one sign and not 0"),
                    );
                    return None;
                }
                Some(Wanted::Between { from, to })
            }
            _ => None,
        }
    }

    fn shape(&mut self, read: &Read) -> Option<Shape> {
        if read.field("waveform").is_some() {
            for key in ["width", "edge"] {
                if let Some(field) = read.field(key) {
                    let text = format!("`{key}` belongs to a trapezoid, not to a `waveform`");
                    self.push(
                        Problem::error("exclusive-keys", Some(field.key_at.clone()), text)
                            .label("has no meaning here")
                            .help("leave it out, or give `height` instead of `waveform`"),
                    );
                }
            }
            return self.corners(read);
        }
        let edge = read.number("edge")?;
        if read.field("width").is_none() {
            let text = "a trapezoidal pulse needs its `width`";
            self.push(
                Problem::error("missing-key", Some(read.at("kind")), text)
                    .label("`width` is missing")
                    .help("write e.g. width = \"10 ns\" or width = { from = \"1 ns\", to = \"1 us\" }"),
            );
            return None;
        }
        let width = self.wanted(read, "width")?;
        if let Some(list) = read.numbers("heights") {
            let heights = list.iter().map(|h| h.value).collect();
            if let (Wanted::Given(_), Some(field)) = (width, read.field("width")) {
                self.push(
                    Problem::error(
                        "nothing-to-search",
                        Some(field.at.clone()),
                        "`heights` wants the shortest width at each height",
                    )
                    .label("a range is wanted")
                    .help("write width = { from = \"1 ns\", to = \"1 us\" }"),
                );
                return None;
            }
            return Some(Shape::Widths { heights, width, edge });
        }
        let height = self.wanted(read, "height")?;
        if let (Wanted::Between { .. }, Wanted::Between { .. }) = (height, width) {
            let text = "both `height` and `width` are searched for";
            self.push(
                Problem::error("two-searches", Some(read.at("width")), text)
                    .label("one of them must be given")
                    .other(read.at("height"), "this is searched for too")
                    .help("give one as a number; or several `heights` for a curve"),
            );
            return None;
        }
        Some(Shape::Trapezoid { height, width, edge })
    }

    /// Corners of a waveform: one sort of value, growing times, at least two.
    fn corners(&mut self, read: &Read) -> Option<Shape> {
        let corners = read.tables("waveform");
        let key = match corners.first()?.field("voltage") {
            Some(_) => "voltage",
            None => "value",
        };
        let (mut times, mut values) = (Vec::new(), Vec::new());
        for corner in corners {
            let time = corner.number("time")?;
            if let Some(&last) = times.last()
                && time <= last
            {
                let text = format!("the corner at {time:e} s follows one at {last:e} s");
                self.push(
                    Problem::error("times-out-of-order", Some(corner.at("time")), text)
                        .label("not later than the corner before")
                        .help("list the corners in the order of their times, each later than the last"),
                );
                return None;
            }
            let Some(value) = corner.number(key) else {
                self.push(
                    Problem::error(
                        "mixed-waveform",
                        Some(corner.at.clone()),
                        "a waveform forces either a current or a voltage",
                    )
                    .label(format!("no `{key}` here"))
                    .help("give every corner a `value` (A/um), or every corner a `voltage`"),
                );
                return None;
            };
            times.push(time);
            values.push(value);
        }
        if times.len() < 2 {
            self.push(
                Problem::error(
                    "short-waveform",
                    Some(read.at("waveform")),
                    "a waveform of one corner is no pulse",
                )
                .label("at least two corners are needed")
                .help("write e.g. [{ time = 0, value = 0 }, { time = \"1 ns\", value = \"1 mA/um\" }]"),
            );
            return None;
        }
        let forced = if key == "voltage" { Forced::Voltage } else { Forced::Current };
        Some(Shape::Corners { forced, times, values })
    }
}

/// Where a trace ends; `current` [A/µm] if nothing is said.
fn stop(read: &Read, current: f64) -> Stop {
    match read.table("stop") {
        Some(s) => Stop { current: s.number("current"), voltage: s.number("voltage") },
        None => Stop { current: Some(current), voltage: None },
    }
}
