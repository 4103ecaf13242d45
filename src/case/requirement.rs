//! What a rule requires, as text: `holding.voltage >= verdict.supply * (1 + verdict.margin)`.
//!
//! relation = sum (">=" | "<=") sum; sum = product (("+" | "-") product)*;
//! product = sign (("*" | "/") sign)*; sign = "-" sign | atom;
//! atom = number | name | "(" sum ")" | "abs" "(" sum ")".

use std::ops::Range;

use super::rules::FoldName;

/// Parentheses and signs within each other, at most.
const DEEPEST: usize = 50;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Relation {
    AtLeast,
    AtMost,
}

/// A requirement that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Requirement {
    left: Sum,
    relation: Relation,
    right: Sum,
    /// The point it is about.
    pub fold: FoldName,
    /// As written.
    pub text: String,
}

/// What the names stand for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Of the point \[V\], [A/µm].
    pub voltage: f64,
    pub current: f64,
    /// Of `[verdict]` \[V\].
    pub supply: f64,
    pub margin: f64,
    /// Of the case \[µm\].
    pub width: f64,
}

/// What is wrong with a requirement, and where in its text.
#[derive(Debug, Clone, PartialEq)]
pub struct Misread {
    pub text: String,
    pub help: String,
    pub at: Range<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Name {
    Voltage,
    Current,
    Supply,
    Margin,
    Width,
}

#[derive(Debug, Clone, PartialEq)]
enum Sum {
    Number(f64),
    Name(Name),
    Minus(Box<Sum>),
    Abs(Box<Sum>),
    Two(char, Box<Sum>, Box<Sum>),
}

impl Sum {
    fn value(&self, k: &Known) -> f64 {
        match self {
            Sum::Number(v) => *v,
            Sum::Name(Name::Voltage) => k.voltage,
            Sum::Name(Name::Current) => k.current,
            Sum::Name(Name::Supply) => k.supply,
            Sum::Name(Name::Margin) => k.margin,
            Sum::Name(Name::Width) => k.width,
            Sum::Minus(a) => -a.value(k),
            Sum::Abs(a) => a.value(k).abs(),
            Sum::Two('+', a, b) => a.value(k) + b.value(k),
            Sum::Two('-', a, b) => a.value(k) - b.value(k),
            Sum::Two('*', a, b) => a.value(k) * b.value(k),
            Sum::Two(_, a, b) => a.value(k) / b.value(k),
        }
    }

    fn uses(&self, names: &[Name]) -> bool {
        match self {
            Sum::Number(_) => false,
            Sum::Name(n) => names.contains(n),
            Sum::Minus(a) | Sum::Abs(a) => a.uses(names),
            Sum::Two(_, a, b) => a.uses(names) || b.uses(names),
        }
    }
}

impl Requirement {
    /// Reads a requirement.
    ///
    /// # Errors
    /// What is wrong, with its place in `text`.
    pub fn parse(text: &str) -> Result<Requirement, Misread> {
        let mut p = Parser { text, at: 0, depth: 0, fold: None };
        let left = p.sum()?;
        let relation = match p.peek() {
            Some('>') => Relation::AtLeast,
            Some('<') => Relation::AtMost,
            _ => return Err(p.wrong(p.at..text.len(), "`>=` or `<=` is wanted here", HELP)),
        };
        p.at += 1;
        // `>` means the same: the answer is where both are equal.
        if text[p.at..].starts_with('=') {
            p.at += 1;
        }
        let right = p.sum()?;
        if p.peek().is_some() {
            return Err(p.wrong(p.at..text.len(), "the requirement should end here", HELP));
        }
        let Some(fold) = p.fold else {
            return Err(p.wrong(
                0..text.len(),
                "the requirement names no point of a curve",
                "name one of trigger.voltage, holding.voltage, holding.current, critical.current",
            ));
        };
        Ok(Requirement { left, relation, right, fold, text: text.to_string() })
    }

    /// How far the requirement is met: it holds from 0 on. In the unit of its sides.
    pub fn slack(&self, known: &Known) -> f64 {
        let difference = self.left.value(known) - self.right.value(known);
        match self.relation {
            Relation::AtLeast => difference,
            Relation::AtMost => -difference,
        }
    }

    /// The verdict's numbers occur.
    pub fn asks_verdict(&self) -> bool {
        let names = [Name::Supply, Name::Margin];
        self.left.uses(&names) || self.right.uses(&names)
    }

    /// Lower and upper bound that the requirement sets to a plain point's number
    /// (voltage: true), if it is of the form `point.number >= constant`.
    pub fn bound(&self, known: &Known) -> Option<(bool, Relation, f64)> {
        let point = [Name::Voltage, Name::Current];
        let plain = |s: &Sum| match s {
            Sum::Name(Name::Voltage) => Some(true),
            Sum::Name(Name::Current) => Some(false),
            _ => None,
        };
        let turned = match self.relation {
            Relation::AtLeast => Relation::AtMost,
            Relation::AtMost => Relation::AtLeast,
        };
        match (plain(&self.left), plain(&self.right)) {
            (Some(v), _) if !self.right.uses(&point) => {
                Some((v, self.relation, self.right.value(known)))
            }
            (_, Some(v)) if !self.left.uses(&point) => Some((v, turned, self.left.value(known))),
            _ => None,
        }
    }
}

const HELP: &str = "write e.g. holding.voltage >= verdict.supply * (1 + verdict.margin)";

struct Parser<'t> {
    text: &'t str,
    at: usize,
    depth: usize,
    fold: Option<FoldName>,
}

impl Parser<'_> {
    fn wrong(&self, at: Range<usize>, text: &str, help: &str) -> Misread {
        Misread { text: text.to_string(), help: help.to_string(), at }
    }

    fn peek(&mut self) -> Option<char> {
        let rest = &self.text[self.at..];
        self.at += rest.len() - rest.trim_start().len();
        self.text[self.at..].chars().next()
    }

    fn sum(&mut self) -> Result<Sum, Misread> {
        let mut left = self.product()?;
        while let Some(sign @ ('+' | '-')) = self.peek() {
            self.at += 1;
            left = Sum::Two(sign, Box::new(left), Box::new(self.product()?));
        }
        Ok(left)
    }

    fn product(&mut self) -> Result<Sum, Misread> {
        let mut left = self.sign()?;
        while let Some(sign @ ('*' | '/')) = self.peek() {
            self.at += 1;
            left = Sum::Two(sign, Box::new(left), Box::new(self.sign()?));
        }
        Ok(left)
    }

    fn sign(&mut self) -> Result<Sum, Misread> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err(self.wrong(self.at..self.text.len(), "too many levels", "simplify it"));
        }
        let found = if self.peek() == Some('-') {
            self.at += 1;
            Ok(Sum::Minus(Box::new(self.sign()?)))
        } else {
            self.atom()
        };
        self.depth -= 1;
        found
    }

    fn atom(&mut self) -> Result<Sum, Misread> {
        match self.peek() {
            Some('(') => self.within(),
            Some(c) if c.is_ascii_digit() || c == '.' => self.number(),
            Some(c) if c.is_ascii_alphabetic() => self.name(),
            Some(c) => {
                let at = self.at..self.at + c.len_utf8();
                Err(self.wrong(at, &format!("`{}` is not understood here", c.escape_debug()), HELP))
            }
            None => {
                let end = self.text.len();
                Err(self.wrong(end..end, "a number or a name is missing at the end", HELP))
            }
        }
    }

    fn within(&mut self) -> Result<Sum, Misread> {
        let open = self.at;
        self.at += 1;
        let inner = self.sum()?;
        if self.peek() != Some(')') {
            return Err(self.wrong(open..open + 1, "this parenthesis is not closed", "add `)`"));
        }
        self.at += 1;
        Ok(inner)
    }

    fn number(&mut self) -> Result<Sum, Misread> {
        let rest = &self.text.as_bytes()[self.at..];
        let mut end = 0;
        while let Some(&c) = rest.get(end) {
            let exponent =
                end > 0 && matches!(rest[end - 1], b'e' | b'E') && matches!(c, b'+' | b'-');
            if !(c.is_ascii_digit() || matches!(c, b'.' | b'e' | b'E') || exponent) {
                break;
            }
            end += 1;
        }
        let at = self.at..self.at + end;
        self.at = at.end;
        match self.text[at.clone()].parse::<f64>() {
            Ok(v) if v.is_finite() => Ok(Sum::Number(v)),
            _ => Err(self.wrong(at, "this is no number", "e.g. 3.63 or 1e-3; units are V, A/um")),
        }
    }

    fn name(&mut self) -> Result<Sum, Misread> {
        let rest = &self.text[self.at..];
        let end = rest
            .find(|c: char| !(c.is_ascii_alphanumeric() || matches!(c, '.' | '_')))
            .unwrap_or(rest.len());
        let at = self.at..self.at + end;
        self.at = at.end;
        let name = &self.text[at.clone()];
        let fixed = match name {
            "abs" => {
                if self.peek() != Some('(') {
                    return Err(self.wrong(at, "`abs` needs a parenthesis", "write abs(…)"));
                }
                return Ok(Sum::Abs(Box::new(self.within()?)));
            }
            "verdict.supply" => Some(Name::Supply),
            "verdict.margin" => Some(Name::Margin),
            "width" => Some(Name::Width),
            _ => None,
        };
        if let Some(name) = fixed {
            return Ok(Sum::Name(name));
        }
        let parts = name.split_once('.');
        let point = parts.and_then(|(fold, what)| {
            let what = match what {
                "voltage" => Name::Voltage,
                "current" => Name::Current,
                _ => return None,
            };
            Some((FoldName::from_word(fold)?, what))
        });
        let Some((fold, what)) = point else {
            return Err(self.wrong(
                at,
                &format!("`{}` is not known in a requirement", name.escape_debug()),
                "known are trigger, holding and critical with .voltage (V) and .current (A/um), verdict.supply, verdict.margin, width (um), abs(…)",
            ));
        };
        if self.fold.is_some_and(|f| f != fold) {
            return Err(self.wrong(
                at,
                "a rule is about one point; this is a second one",
                "make two rules of it",
            ));
        }
        self.fold = Some(fold);
        Ok(Sum::Name(what))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const KNOWN: Known =
        Known { voltage: 1.5, current: -2e-3, supply: 1.2, margin: 0.1, width: 100.0 };

    #[test]
    fn requirements_are_read_as_written() {
        let slack = |text: &str| Requirement::parse(text).expect(text).slack(&KNOWN);
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} {b}");
        near(slack("holding.voltage >= verdict.supply * (1 + verdict.margin)"), 0.18);
        near(slack("verdict.supply - -1e-1*2 <= holding.voltage/2 + 1"), 0.35);
        near(slack("abs(critical.current) * width >= 100e-3"), 0.1);
        near(slack("8 / 2 / 2 - 1 - 1 <= trigger.voltage"), 1.5);
        let r = Requirement::parse("1 <= holding.voltage").expect("good");
        assert_eq!(r.bound(&KNOWN), Some((true, Relation::AtLeast, 1.0)));
        assert_eq!(r.fold, FoldName::Holding);
    }

    #[test]
    fn errors_point_at_their_place() {
        for (text, at) in [
            ("holding.voltage", 15..15),
            ("holding.voltage >= ", 19..19),
            ("holding.volts >= 1", 0..13),
            ("holding.voltage >= (1 + 2", 19..20),
            ("holding.voltage >= 1e", 19..21),
            ("1 >= 2", 0..6),
            ("holding.voltage >= trigger.voltage", 19..34),
            ("holding.voltage >= 1 1", 21..22),
            ("holding.voltage >= µ", 19..21),
            ("abs >= holding.voltage", 0..3),
        ] {
            assert_eq!(Requirement::parse(text).expect_err(text).at, at, "{text}");
        }
        let deep = format!("holding.voltage >= {}1", "(".repeat(500));
        assert!(Requirement::parse(&deep).is_err());
    }
}
