//! Follows, rules and spreads: what was read to what is asked for.

use super::model::Span;
use super::path::{Quantity, quantity_at};
use super::problem::Problem;
use super::requirement::{Known, Relation, Requirement};
use super::units;
use super::walk::{At, Read, Walker};

/// A point of a curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FoldName {
    Trigger,
    Holding,
    Critical,
}

impl FoldName {
    /// The word in the case file, JSON and HDF5.
    pub fn word(self) -> &'static str {
        match self {
            FoldName::Trigger => "trigger",
            FoldName::Holding => "holding",
            FoldName::Critical => "critical",
        }
    }

    /// The reverse of [`FoldName::word`].
    pub fn from_word(word: &str) -> Option<FoldName> {
        [FoldName::Trigger, FoldName::Holding, FoldName::Critical]
            .into_iter()
            .find(|f| f.word() == word)
    }
}

/// A number of the case that is moved.
#[derive(Debug, Clone, PartialEq)]
pub struct Knob {
    /// Dotted path.
    pub path: String,
    /// Plain unit of the number, e.g. "um".
    pub unit: &'static str,
    /// What the case says (0 for a slide).
    pub drawn: f64,
    pub from: f64,
    pub to: f64,
    /// Where path and range stand.
    pub at: Span,
    pub range_at: Span,
}

/// How a point moves along one number.
#[derive(Debug, Clone, PartialEq)]
pub struct Follow {
    pub fold: FoldName,
    /// Number of the experiment; `None`: the first that has such a point.
    pub experiment: Option<usize>,
    pub along: Knob,
    pub at: Span,
}

/// A number that is solved for.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    pub name: String,
    /// One, or two: the first at values of the second.
    pub unknowns: Vec<Knob>,
    pub require: Requirement,
    pub require_at: Span,
    pub experiment: Option<usize>,
    /// Ambient temperatures \[K\]; empty: the case's own.
    pub temperatures: Vec<f64>,
    pub at: Span,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tolerance {
    Normal,
    Uniform,
}

/// The tolerance of one number.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    pub path: String,
    pub unit: &'static str,
    pub drawn: f64,
    pub shape: Tolerance,
    /// Standard deviation, or half the width of the interval.
    pub size: f64,
    pub at: Span,
}

impl Spread {
    /// Standard deviation in the unit of the number.
    pub fn sigma(&self) -> f64 {
        match self.shape {
            Tolerance::Normal => self.size,
            Tolerance::Uniform => self.size / 3f64.sqrt(),
        }
    }
}

impl Walker<'_> {
    pub fn follow(&mut self, read: &Read) -> Option<Follow> {
        let fold = FoldName::from_word(read.word("fold")?)?;
        let along = read.text("along")?;
        let ends: Vec<At<String>> =
            ["from", "to"].iter().flat_map(|k| read.loose(k).first().cloned()).collect();
        let range_at = read.at("to");
        let along = self.knob(&along, &ends, range_at)?;
        let experiment = read.number("experiment").map(|n| n as usize);
        (!read.bad).then(|| Follow { fold, experiment, along, at: read.at.clone() })
    }

    pub fn rule(&mut self, read: &Read, case: &Read) -> Option<Rule> {
        let name = read.text("name")?.value;
        let written = read.text("require")?;
        let require = match Requirement::parse(&written.value) {
            Ok(require) => require,
            Err(e) => {
                let at = self.inside(written.at.clone(), &written.value, &e.at);
                let problem = Problem::error("bad-requirement", Some(at), e.text).help(e.help);
                self.push(problem);
                return None;
            }
        };
        if require.asks_verdict() && case.table("verdict").is_none() {
            let text = "the rule asks for the supply, but the case has no [verdict]";
            self.push(
                Problem::error("no-supply", Some(written.at.clone()), text)
                    .help("add [verdict] with supply = …, or write the voltage itself"),
            );
            return None;
        }
        let (paths, ends) = (read.loose("unknown").to_vec(), read.loose("range").to_vec());
        if !(1..=2).contains(&paths.len()) || ends.len() != 2 * paths.len() {
            let text = format!(
                "{} unknowns with {} ends of ranges: one unknown has two, two have four",
                paths.len(),
                ends.len()
            );
            self.push(
                Problem::error("bad-range", Some(read.at("range")), text)
                    .help("range = [low, high], or [[low, high], [low, high]]"),
            );
            return None;
        }
        let mut unknowns = Vec::new();
        for (path, ends) in paths.iter().zip(ends.chunks(2)) {
            unknowns.push(self.knob(path, ends, read.at("range"))?);
        }
        let temperatures: Vec<f64> = read
            .table("over")
            .and_then(|o| o.numbers("temperature"))
            .map(|list| list.iter().map(|t| t.value).collect())
            .unwrap_or_default();
        if !temperatures.is_empty() && unknowns.iter().any(|u| u.path == "temperature") {
            let text = "the temperature is the unknown and given in `over` too";
            self.push(
                Problem::error("conflicting-temperature", Some(read.at("over")), text)
                    .help("leave one of them out"),
            );
            return None;
        }
        (!read.bad).then(|| Rule {
            name,
            unknowns,
            require,
            require_at: written.at,
            experiment: read.number("experiment").map(|n| n as usize),
            temperatures,
            at: read.at.clone(),
        })
    }

    /// Rules with the same unknown that no point can meet both.
    pub fn contradictions(&mut self, rules: &[Rule], case: &Read) {
        let of = |key: &str| case.table("verdict").and_then(|v| v.number(key)).unwrap_or(0.0);
        let known = Known {
            voltage: 0.0,
            current: 0.0,
            supply: of("supply"),
            margin: of("margin"),
            width: case.number("width").unwrap_or(1.0),
        };
        for (k, rule) in rules.iter().enumerate() {
            for other in rules.iter().take(k) {
                let same = rule.unknowns == other.unknowns
                    || rule
                        .unknowns
                        .iter()
                        .map(|u| &u.path)
                        .eq(other.unknowns.iter().map(|u| &u.path));
                let about =
                    rule.require.fold == other.require.fold && rule.experiment == other.experiment;
                let (Some(a), Some(b)) = (rule.require.bound(&known), other.require.bound(&known))
                else {
                    continue;
                };
                let apart = match (a.1, b.1) {
                    (Relation::AtLeast, Relation::AtMost) => a.2 > b.2,
                    (Relation::AtMost, Relation::AtLeast) => a.2 < b.2,
                    _ => false,
                };
                if same && about && a.0 == b.0 && apart {
                    let text = format!(
                        "the rules \"{}\" and \"{}\" contradict each other: no point is both at {} and {}",
                        other.name,
                        rule.name,
                        units::show(b.2),
                        units::show(a.2)
                    );
                    self.push(
                        Problem::error("contradictory-rules", Some(rule.require_at.clone()), text)
                            .label("cannot hold together with the other")
                            .other(other.require_at.clone(), "the other rule")
                            .help("leave one of them out, or give them different unknowns"),
                    );
                }
            }
        }
    }

    pub fn spread(&mut self, read: &Read) -> Option<Spread> {
        let path = read.text("parameter")?;
        let (shape, key) = match read.word("shape")? {
            "uniform" => (Tolerance::Uniform, "range"),
            _ => (Tolerance::Normal, "sigma"),
        };
        let quantity = self.quantity_of(&path)?;
        let drawn = quantity.value.unwrap_or(0.0);
        let size = read.loose(key).first().cloned()?;
        let size_at = size.at.clone();
        let value = match size.value.trim().strip_suffix('%').map(|s| s.trim().parse::<f64>()) {
            Some(Ok(percent)) => Some(0.01 * percent * drawn.abs()),
            Some(Err(_)) => None,
            // A difference of temperatures has no zero of its own.
            None if size.value.contains("deg") => None,
            None => self.in_unit(&size, &quantity, &path.value),
        };
        match value {
            Some(v) if v > 0.0 && v.is_finite() => Some(Spread {
                path: path.value,
                unit: quantity.dim.unit(),
                drawn,
                shape,
                size: v,
                at: read.at.clone(),
            })
            .filter(|_| !read.bad),
            _ => {
                let text = format!("`{key}` must be a deviation above 0");
                self.push(Problem::error("bad-spread", Some(size_at), text).help(format!(
                    "a number in {}, or a share such as \"3 %\"",
                    quantity.dim.unit()
                )));
                None
            }
        }
    }

    fn quantity_of(&mut self, path: &At<String>) -> Option<Quantity> {
        let (text, help) = match quantity_at(self.text, &path.value) {
            Ok(Some(quantity)) => {
                let root = path.value.split('.').next().unwrap_or_default();
                if !["grid", "verdict", "width", "rule", "follow", "spread"].contains(&root) {
                    return Some(quantity);
                }
                (
                    format!("`{}` does not change any point of a curve", path.value),
                    "name a number of the layout, the doping, the laws or the temperature".into(),
                )
            }
            Ok(None) => (
                format!("`{}` is not a number", path.value),
                "name a number, e.g. well.n-well.falloff, slide.spacing, temperature".into(),
            ),
            Err(e) => (e.text, e.help),
        };
        self.push(Problem::error("bad-path", Some(path.at.clone()), text).help(help));
        None
    }

    fn in_unit(&mut self, value: &At<String>, quantity: &Quantity, path: &str) -> Option<f64> {
        if let Ok(v) = value.value.parse::<f64>() {
            return Some(v);
        }
        match units::parse(&value.value, quantity.dim) {
            Ok(v) => Some(v),
            Err(e) => {
                let problem =
                    Problem::error(e.code, Some(value.at.clone()), format!("`{path}`: {}", e.text))
                        .label(e.label)
                        .help(e.help);
                self.push(problem);
                None
            }
        }
    }

    fn knob(&mut self, path: &At<String>, ends: &[At<String>], range_at: Span) -> Option<Knob> {
        let quantity = self.quantity_of(path)?;
        let [from, to] = ends else { return None };
        let values = [from, to].map(|v| self.in_unit(v, &quantity, &path.value));
        let [Some(from), Some(to)] = values else { return None };
        let outside = [from, to].into_iter().find(|v| !quantity.bounds.allows(*v));
        let bad = match outside {
            Some(v) => Some(format!(
                "{} {} is not possible for `{}`",
                units::show(v),
                quantity.dim.unit(),
                path.value
            )),
            None if from >= to => Some("the range must go from a lower to a higher value".into()),
            None => None,
        };
        if let Some(text) = bad {
            self.push(Problem::error("bad-range", Some(range_at), text).help(format!(
                "from {} to {}",
                units::show(quantity.bounds.low),
                units::show(quantity.bounds.high)
            )));
            return None;
        }
        Some(Knob {
            path: path.value.clone(),
            unit: quantity.dim.unit(),
            drawn: quantity.value.unwrap_or(0.0),
            from,
            to,
            at: path.at.clone(),
            range_at,
        })
    }
}
