//! What is wrong with a layout that can be seen without a mesh: order, span, depth,
//! overlaps. Works on what was read, so that one bad key does not hide the rest.

use super::model::Span;
use super::problem::Problem;
use super::units::show;
use super::walk::{Read, Walker};

/// Positions [µm] closer than this are the same: far below any mesh interval, far
/// above rounding of numbers with units.
pub const SAME: f64 = 1e-9;

/// A stretch of the surface that something takes.
#[derive(Debug, Clone)]
struct Stretch {
    /// For messages, e.g. `terminal "anode"`.
    what: String,
    /// The terminal's index, to tell pieces of one terminal from pieces of two.
    owner: usize,
    from: f64,
    to: f64,
    from_at: Span,
    to_at: Span,
    /// Both ends if they stand on one line; else the name or the table's header.
    at: Span,
}

impl Stretch {
    fn new(read: &Read, text: &str, what: String, owner: usize) -> Option<Stretch> {
        let (from, to) = (read.number("from")?, read.number("to")?);
        let (from_at, to_at) = (read.at("from"), read.at("to"));
        let both = from_at.start.min(to_at.start)..from_at.end.max(to_at.end);
        let one_line = text.get(both.clone()).is_some_and(|t| !t.contains('\n'));
        let at = if one_line { both } else { read.at("name") };
        Some(Stretch { what, owner, from, to, from_at, to_at, at })
    }

    fn range(&self) -> String {
        format!("{} to {} um", show(self.from), show(self.to))
    }

    fn overlaps(&self, other: &Stretch) -> bool {
        self.from < other.to - SAME && other.from < self.to - SAME
    }

    fn touches(&self, other: &Stretch) -> bool {
        self.from <= other.to + SAME && other.from <= self.to + SAME
    }
}

fn called(kind: &str, read: &Read) -> String {
    match read.text("name") {
        Some(name) => format!("{kind} \"{}\"", name.value),
        None => format!("this {kind}"),
    }
}

/// Everything that takes a stretch of the surface.
struct Surface {
    pieces: Vec<Stretch>,
    trenches: Vec<Stretch>,
    gates: Vec<Stretch>,
    contacts: Vec<Stretch>,
}

impl Surface {
    fn new(case: &Read, text: &str) -> Surface {
        let list = |key: &str, kind: &str| -> Vec<Stretch> {
            let tables = case.tables(key).iter().enumerate();
            tables.filter_map(|(i, r)| Stretch::new(r, text, called(kind, r), i)).collect()
        };
        let mut pieces = list("well", "well");
        pieces.extend(list("diffusion", "diffusion"));
        let mut contacts = Vec::new();
        for (i, terminal) in case.tables("terminal").iter().enumerate() {
            let what = called("terminal", terminal);
            let touches = terminal.tables("touches").iter();
            contacts.extend(touches.filter_map(|t| Stretch::new(t, text, what.clone(), i)));
        }
        Surface {
            pieces,
            trenches: list("trench", "trench"),
            gates: list("gate", "gate"),
            contacts,
        }
    }

    fn all(&self) -> impl Iterator<Item = &Stretch> {
        self.pieces.iter().chain(&self.trenches).chain(&self.gates).chain(&self.contacts)
    }

    /// The parts of `s` that no trench covers, in µm.
    fn silicon_under(&self, s: &Stretch) -> f64 {
        let mut trenches: Vec<&Stretch> = self.trenches.iter().filter(|t| t.overlaps(s)).collect();
        trenches.sort_by(|a, b| a.from.total_cmp(&b.from));
        let (mut free, mut x) = (0.0, s.from);
        for t in trenches {
            free += (t.from - x).max(0.0);
            x = x.max(t.to);
        }
        free + (s.to - x).max(0.0)
    }

    fn trench_under(&self, s: &Stretch) -> Option<&Stretch> {
        self.trenches.iter().find(|t| t.overlaps(s))
    }
}

impl Walker<'_> {
    /// All checks of the layout. `case` is the whole file, read.
    pub fn geometry(&mut self, case: &Read) {
        let surface = Surface::new(case, self.text);
        let wafer = case.table("wafer");
        let span = wafer.and_then(|w| w.number("span"));
        let thickness = wafer.and_then(|w| w.number("thickness"));
        self.ends(&surface, span);
        self.depths(case, thickness);
        self.apart(&surface.trenches, "overlapping-trenches", false);
        self.apart(&surface.gates, "overlapping-gates", true);
        self.apart(&surface.contacts, "overlapping-terminals", true);
        self.sides(case, &surface, span);
        self.gates_and_contacts(&surface);
        self.over_oxide(&surface);
        self.lines(case, span, thickness);
    }

    fn ends(&mut self, surface: &Surface, span: Option<f64>) {
        for s in surface.all() {
            if s.from >= s.to {
                let text =
                    format!("{} runs from {}: `from` must be left of `to`", s.what, s.range());
                self.push(
                    Problem::error("from-not-before-to", Some(s.to_at.clone()), text)
                        .label("not right of `from`")
                        .other(s.from_at.clone(), "`from` is here")
                        .help("x grows to the right: give the left end as `from`"),
                );
                continue;
            }
            let Some(span) = span else { continue };
            for (x, at) in [(s.from, &s.from_at), (s.to, &s.to_at)] {
                if x < -SAME || x > span + SAME {
                    let text = format!(
                        "{} reaches x = {} um, outside the cut (0 to {} um)",
                        s.what,
                        show(x),
                        show(span)
                    );
                    self.push(
                        Problem::error("outside-span", Some(at.clone()), text)
                            .label("outside the span")
                            .help(format!(
                                "keep it between 0 and {} um, or make the wafer's span larger",
                                show(span)
                            )),
                    );
                }
            }
        }
    }

    fn depths(&mut self, case: &Read, thickness: Option<f64>) {
        for (list, kind) in [("well", "well"), ("diffusion", "diffusion"), ("trench", "trench")] {
            for read in case.tables(list) {
                let what = called(kind, read);
                self.order_in_depth(read, &what);
                let Some(thickness) = thickness else { continue };
                for key in ["depth", "bottom", "top", "crest", "junction_depth"] {
                    let Some(y) = read.number(key).filter(|_| read.field(key).is_some()) else {
                        continue;
                    };
                    // A box may end at the bottom of the cut; anything else lies within.
                    let room = if key == "bottom" { y <= thickness + SAME } else { y < thickness };
                    if !room {
                        let text = format!(
                            "{what}: `{key}` = {} um does not lie within the silicon ({} um)",
                            show(y),
                            show(thickness)
                        );
                        self.push(
                            Problem::error("too-deep", Some(read.at(key)), text)
                                .label("below the simulated silicon")
                                .help("make it less, or the wafer's thickness larger"),
                        );
                    }
                }
            }
        }
        self.epi(case, thickness);
    }

    fn epi(&mut self, case: &Read, thickness: Option<f64>) {
        let Some(wafer) = case.table("wafer") else { return };
        let epi = wafer.table("epi");
        for key in ["donors", "acceptors"] {
            if let (Some(epi), Some(n)) = (epi, wafer.number(key))
                && epi.number(key) != Some(n)
            {
                self.push(
                    Problem::warning(
                        "wafer-doping-not-used",
                        Some(wafer.at(key)),
                        format!("the wafer's {key} have no effect: the epitaxial layer and its handle replace them"),
                    )
                    .label("not used")
                    .other(epi.at.clone(), "the layer is given here")
                    .help("leave it out, or leave out `epi`"),
                );
            }
        }
        if let (Some(epi), Some(thickness)) = (epi, thickness)
            && epi.number("thickness").is_some_and(|t| t >= thickness)
        {
            self.push(
                    Problem::warning(
                        "handle-not-simulated",
                        Some(epi.at("thickness")),
                        "the epitaxial layer is as thick as the simulated silicon: the handle lies below it",
                    )
                    .label("nothing of the handle is simulated")
                    .help("make the wafer's thickness larger than the layer's"),
                );
        }
    }

    fn order_in_depth(&mut self, read: &Read, what: &str) {
        let pair = |upper: &str, lower: &str| -> Option<(f64, f64)> {
            read.field(lower)?;
            Some((read.number(upper)?, read.number(lower)?))
        };
        for (upper, lower) in [("top", "bottom"), ("crest", "junction_depth")] {
            if let Some((a, b)) = pair(upper, lower).filter(|(a, b)| a >= b) {
                let text = format!(
                    "{what}: `{lower}` = {} um is not below `{upper}` = {} um",
                    show(b),
                    show(a)
                );
                self.push(
                    Problem::error("depth-order", Some(read.at(lower)), text)
                        .label(format!("not below `{upper}`"))
                        .help("y grows into the silicon"),
                );
            }
        }
    }

    /// Members of one list must not overlap (`touching`: nor touch).
    fn apart(&mut self, list: &[Stretch], code: &'static str, touching: bool) {
        for (i, a) in list.iter().enumerate() {
            for b in list.iter().take(i) {
                if (a.owner == b.owner && code == "overlapping-terminals")
                    || a.from >= a.to
                    || b.from >= b.to
                {
                    continue;
                }
                let meet = a.overlaps(b) || (touching && a.touches(b));
                if meet {
                    self.push(meeting(code, a, b));
                }
            }
        }
    }

    /// Terminals on whole sides: each side once, and no shared corner node.
    fn sides(&mut self, case: &Read, surface: &Surface, span: Option<f64>) {
        let mut taken: Vec<(&'static str, usize, String, Span)> = Vec::new();
        for (i, terminal) in case.tables("terminal").iter().enumerate() {
            for touch in terminal.tables("touches") {
                if let Some(side) = touch.word("side") {
                    taken.push((side, i, called("terminal", terminal), touch.at("side")));
                }
            }
        }
        for (n, (side, owner, what, at)) in taken.iter().enumerate() {
            for (other_side, other_owner, other, other_at) in taken.iter().take(n) {
                let corner = (*side == "back") != (*other_side == "back");
                if owner != other_owner && (side == other_side || corner) {
                    let where_ = if corner { "share a corner" } else { "take the same side" };
                    let text = format!("{what} and {other} {where_}");
                    self.push(
                        Problem::error("overlapping-terminals", Some(at.clone()), text)
                            .label("one place, two terminals")
                            .other(other_at.clone(), format!("{other} is here"))
                            .help(
                                "let one terminal touch a side, or a stretch of the surface, only",
                            ),
                    );
                }
            }
            for s in surface.contacts.iter().filter(|s| s.owner != *owner) {
                let meets = match *side {
                    "left" => s.from <= SAME,
                    "right" => span.is_some_and(|span| s.to >= span - SAME),
                    _ => false,
                };
                if meets {
                    let text = format!("{} and {what} (side = \"{side}\") share a corner", s.what);
                    self.push(
                        Problem::error("overlapping-terminals", Some(s.at.clone()), text)
                            .label("reaches the side")
                            .other(at.clone(), format!("{what} is here"))
                            .help("end the surface piece before the side"),
                    );
                }
            }
        }
    }

    fn gates_and_contacts(&mut self, surface: &Surface) {
        for gate in &surface.gates {
            for contact in surface.contacts.iter().filter(|c| c.overlaps(gate)) {
                self.push(meeting("gate-over-terminal", gate, contact));
            }
        }
    }

    fn over_oxide(&mut self, surface: &Surface) {
        for contact in surface.contacts.iter().filter(|c| c.from < c.to) {
            let Some(trench) = surface.trench_under(contact) else { continue };
            let free = surface.silicon_under(contact);
            let problem = if free <= SAME {
                let text = format!(
                    "{} ({}) touches oxide only: a trench lies under all of it",
                    contact.what,
                    contact.range()
                );
                Problem::error("touches-oxide-only", Some(contact.at.clone()), text)
            } else {
                let text = format!(
                    "{} ({}) lies partly on a trench: {} um of it touch silicon",
                    contact.what,
                    contact.range(),
                    show((free * 1e6).round() / 1e6)
                );
                Problem::warning("touches-oxide-partly", Some(contact.at.clone()), text)
            };
            self.push(
                problem
                    .label("on the oxide of a trench")
                    .other(trench.at.clone(), format!("this trench runs from {}", trench.range()))
                    .help("move the terminal onto silicon"),
            );
        }
        for gate in surface.gates.iter().filter(|g| g.from < g.to) {
            let Some(trench) = surface.trench_under(gate) else { continue };
            if surface.silicon_under(gate) <= SAME {
                let text = format!(
                    "{} ({}) lies over no silicon: trenches are under all of it",
                    gate.what,
                    gate.range()
                );
                self.push(
                    Problem::error("gate-over-no-silicon", Some(gate.at.clone()), text)
                        .label("over the oxide of a trench")
                        .other(
                            trench.at.clone(),
                            format!("this trench runs from {}", trench.range()),
                        )
                        .help("move the gate over silicon"),
                );
            }
        }
    }
}

fn meeting(code: &'static str, a: &Stretch, b: &Stretch) -> Problem {
    let how = if a.overlaps(b) { "overlap" } else { "touch" };
    let text = format!("{} ({}) and {} ({}) {how}", a.what, a.range(), b.what, b.range());
    Problem::error(code, Some(a.at.clone()), text)
        .label(format!("{} is here", a.what))
        .other(b.at.clone(), format!("{} is here", b.what))
        .help("move one of them, so that a gap remains")
}
