//! Experiments: what was read to [`Experiment`]s, and whether their terminals fit.

use super::experiments::{Bias, Experiment};
use super::keys::nearest;
use super::messages::shorten;
use super::model::Span;
use super::problem::Problem;
use super::walk::{At, Read, Value, Walker};

/// Names that a message lists at most.
const MOST_LISTED: usize = 20;

/// What experiments may name.
pub struct Nodes {
    /// Ohmic terminals.
    terminals: Vec<String>,
    /// Gates, with the place of `follows` if they follow.
    gates: Vec<(String, Option<Span>)>,
    /// Names of the terminals with their roles.
    roles: Vec<(String, &'static str)>,
    /// The supply of `[verdict]` [V].
    pub supply: Option<f64>,
    /// The case's width [µm].
    pub width: Option<f64>,
    /// False if a name could not be read, or there is no terminal at all, which is
    /// reported once: then an unknown name says nothing new.
    complete: bool,
}

impl Nodes {
    /// The terminals and gates of a case.
    pub fn new(case: &Read) -> Nodes {
        let name = |r: &Read| r.text("name").map(|n| n.value);
        let (terminals, gates) = (case.tables("terminal"), case.tables("gate"));
        let unread = |key: &str| {
            case.field(key).is_some_and(|f| matches!(f.value, Value::Bad))
                || case.tables(key).iter().any(|r| name(r).is_none())
        };
        Nodes {
            terminals: terminals.iter().filter_map(name).collect(),
            gates: gates
                .iter()
                .filter_map(|g| Some((name(g)?, g.field("follows").map(|f| f.at.clone()))))
                .collect(),
            roles: terminals.iter().filter_map(|t| Some((name(t)?, t.word("role")?))).collect(),
            width: case.number("width"),
            supply: case.table("verdict").and_then(|v| v.number("supply")),
            complete: !terminals.is_empty() && !unread("terminal") && !unread("gate"),
        }
    }

    fn all(&self) -> impl Iterator<Item = &str> {
        self.terminals.iter().chain(self.gates.iter().map(|g| &g.0)).map(String::as_str)
    }

    /// The first of `wanted` that no terminal has as its role, those in `open` aside; and the
    /// terminals in `open` that have it.
    pub fn without<'o>(
        &self,
        wanted: &[&'static str],
        open: &'o [At<String>],
    ) -> Option<(&'static str, Vec<&'o At<String>>)> {
        if !self.complete {
            return None;
        }
        let having = |role: &str| {
            self.roles.iter().filter(move |r| r.1 == role).map(|r| r.0.clone()).collect::<Vec<_>>()
        };
        wanted.iter().find_map(|role| {
            let having = having(role);
            let out: Vec<&At<String>> = open.iter().filter(|o| having.contains(&o.value)).collect();
            (out.len() == having.len()).then_some((*role, out))
        })
    }

    /// The terminals with their roles, as a message lists them.
    pub fn with_roles(&self) -> String {
        let each = self.roles.iter().take(MOST_LISTED).map(|(n, r)| format!("\"{n}\" ({r})"));
        each.collect::<Vec<_>>().join(", ")
    }

    fn gate(&self, name: &str) -> Option<&(String, Option<Span>)> {
        self.gates.iter().find(|g| g.0 == name)
    }
}

/// One use of a terminal in an experiment.
struct Use<'a> {
    name: &'a At<String>,
    /// "driven", "biased", …
    how: &'static str,
}

impl Walker<'_> {
    /// Checks that `name` is a terminal or gate.
    pub fn known(&mut self, name: &At<String>, nodes: &Nodes) {
        if !nodes.complete || nodes.all().any(|n| n == name.value) {
            return;
        }
        let text =
            format!("there is no terminal or gate \"{}\"", shorten(&name.value).escape_debug());
        let all: Vec<String> = nodes.all().take(MOST_LISTED).map(|n| format!("\"{n}\"")).collect();
        let mut problem = Problem::error("unknown-terminal", Some(name.at.clone()), text)
            .label("no such terminal")
            .help(format!("terminals and gates of this case: {}", all.join(", ")));
        if let Some(near) = nearest(&name.value, nodes.all()) {
            problem = problem.label(format!("did you mean \"{near}\"?"));
            let quoted = self.text.get(name.at.clone()).is_some_and(|t| t.starts_with(['"', '\'']));
            problem.replacement =
                Some(if quoted { format!("\"{near}\"") } else { near.to_string() });
        }
        self.push(problem);
    }

    /// Checks what each gate follows: a terminal, or a gate that follows nothing.
    pub fn follows(&mut self, case: &Read, nodes: &Nodes) {
        for gate in case.tables("gate") {
            let (Some(name), Some(follows)) = (gate.text("name"), gate.text("follows")) else {
                continue;
            };
            self.known(&follows, nodes);
            let Some((_, Some(other))) = nodes.gate(&follows.value) else { continue };
            let own = follows.value == name.value;
            let text = if own {
                format!("gate \"{}\" follows itself", name.value)
            } else {
                format!(
                    "gate \"{}\" follows \"{}\", which follows another",
                    name.value, follows.value
                )
            };
            let mut problem = Problem::error("follows-chain", Some(follows.at.clone()), text)
                .label(if own { "its own name" } else { "follows in turn" })
                .help("name the terminal whose voltage the gate takes in the end");
            if !own {
                problem = problem.other(other.clone(), "this follows in turn");
            }
            self.push(problem);
        }
    }

    /// One experiment; `None` if something in it is wrong.
    pub fn experiment(&mut self, read: &Read, nodes: &Nodes) -> Option<Experiment> {
        let kind = read.word("kind")?;
        let at = read.at("kind");
        let voltages: &[(At<String>, f64)] = match read.field("bias").map(|f| &f.value) {
            Some(Value::Voltages(v)) => v,
            _ => &[],
        };
        let into: Vec<At<String>> = read.text("into").into_iter().collect();
        let driven = read.names("drive");
        let mut uses: Vec<Use<'_>> = Vec::new();
        uses.extend(into.iter().map(|name| Use { name, how: "the injector" }));
        uses.extend(driven.iter().map(|name| Use { name, how: "driven" }));
        uses.extend(voltages.iter().map(|(name, _)| Use { name, how: "biased" }));
        uses.extend(read.names("open").iter().map(|name| Use { name, how: "open" }));
        self.uses(&uses, nodes);
        self.currents(read, kind, &uses, nodes);
        let bias = voltages
            .iter()
            .map(|(name, v)| Bias { terminal: name.value.clone(), voltage: *v })
            .collect();
        let open = read.names("open").iter().map(|n| n.value.clone()).collect();
        let bad = self.problems.len();
        let kind = self.kind(read, kind, nodes);
        if self.problems.len() > bad {
            return None;
        }
        let kind = kind?;
        (!read.bad).then_some(Experiment { bias, open, kind, at })
    }

    /// Every name is known and used once; followers are not used at all.
    fn uses(&mut self, uses: &[Use<'_>], nodes: &Nodes) {
        for (i, one) in uses.iter().enumerate() {
            self.known(one.name, nodes);
            let name = &one.name.value;
            // An injector's bias is the supply it is reconnected to (DESIGN section 1).
            let earlier = uses.iter().take(i).find(|e| {
                e.name.value == *name && !(e.how == "the injector" && one.how == "biased")
            });
            if let Some(earlier) = earlier {
                let text = if earlier.how == one.how {
                    format!("\"{name}\" is {} twice", one.how)
                } else {
                    format!("\"{name}\" is {} and {} at once", earlier.how, one.how)
                };
                // Point at the later of the two in the file.
                let (first, second) = if earlier.name.at.start <= one.name.at.start {
                    (earlier, one)
                } else {
                    (one, earlier)
                };
                self.push(
                    Problem::error("conflicting-terminal", Some(second.name.at.clone()), text)
                        .label(format!("{} here", second.how))
                        .other(first.name.at.clone(), format!("{} here", first.how))
                        .help("a terminal is driven, biased, open or the injector: leave one of them out"),
                );
            }
            if let Some((_, Some(follows))) = nodes.gate(name) {
                let text =
                    format!("gate \"{name}\" follows another terminal and is {} too", one.how);
                self.push(
                    Problem::error("conflicting-terminal", Some(one.name.at.clone()), text)
                        .label("its voltage is already given")
                        .other(follows.clone(), "it follows this")
                        .help("leave it out here, or leave out `follows`"),
                );
            }
        }
    }

    /// Whether current can flow as the experiment asks.
    fn currents(&mut self, read: &Read, kind: &str, uses: &[Use<'_>], nodes: &Nodes) {
        for one in uses.iter().filter(|u| nodes.gate(&u.name.value).is_some()) {
            let (code, text, help) = match one.how {
                "open" => (
                    "open-gate",
                    "a gate carries no current and cannot be open",
                    "give its voltage in `bias`, or let it follow a terminal",
                ),
                "the injector" => (
                    "into-gate",
                    "no current can be forced into a gate",
                    "name a terminal that touches silicon",
                ),
                _ => continue,
            };
            let text = format!("\"{}\": {text}", one.name.value);
            self.push(
                Problem::error(code, Some(one.name.at.clone()), text).label("a gate").help(help),
            );
        }
        let driven = read.names("drive");
        if let Some(field) = read.field("drive") {
            if driven.is_empty() && matches!(field.value, Value::Names(_)) {
                self.push(
                    Problem::error("empty-drive", Some(field.at.clone()), "`drive` is empty")
                        .label("no terminal is driven")
                        .help("name the terminals that share the driven voltage, e.g. [\"anode\"]"),
                );
                return;
            }
            let gates_only = driven.iter().all(|d| nodes.gate(&d.value).is_some());
            if kind == "snapback" && gates_only && !driven.is_empty() {
                let text = "only gates are driven: no current flows through them";
                self.push(
                    Problem::error("drive-gate-alone", Some(field.at.clone()), text)
                        .label("gates only")
                        .help("drive a terminal that touches silicon, e.g. the anode"),
                );
                return;
            }
        }
        // A bias experiment may drive everything; the others need a way back.
        let held = |name: &String| {
            !uses.iter().any(|u| {
                u.name.value == *name
                    && (u.how == "open"
                        || u.how == "the injector"
                        || (u.how == "driven" && kind != "bias"))
            })
        };
        if nodes.complete && !nodes.terminals.iter().any(held) {
            let text = "no terminal is left at a fixed voltage: the current has no way back";
            let open: Vec<&Use> = uses.iter().filter(|u| u.how == "open").collect();
            let names: Vec<String> = open.iter().map(|u| format!("\"{}\"", u.name.value)).collect();
            let text = match names.is_empty() {
                true => text.to_string(),
                false => format!("{text}; open: {}", names.join(", ")),
            };
            let mut problem = Problem::error("no-return-path", Some(read.at("kind")), text)
                .label("this experiment leaves no terminal held")
                .help("leave a terminal that touches silicon out of `drive` and `open`");
            if let Some(first) = open.first() {
                problem = problem.other(first.name.at.clone(), "open: its voltage is undefined");
            }
            self.push(problem);
        }
    }
}
