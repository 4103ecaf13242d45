//! The verdict: would the supply keep the path on, and does a tested stimulus reach it?

use crate::case::VerdictSpec;
use crate::experiment::{Figures, Found, Outcome, Sheet, Shown, Status};
use crate::trace::Fold;

use super::margins::{conditions, margins, stands, stimulus, uncertain};

/// Stands under every verdict.
pub const CAUTION: &str = "Two-dimensional model of the stated inputs; a guide, not a \
     qualification. Silicon is tested to JESD78 by trained people with current-limited supplies.";

/// DESIGN section 1, `verdict`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    NoOnState,
    NotReached,
    Latches,
    Undecided,
}

impl Answer {
    /// The word in JSON, HDF5 and `--fail-on`.
    pub fn word(self) -> &'static str {
        match self {
            Answer::NoOnState => "no-on-state",
            Answer::NotReached => "not-reached",
            Answer::Latches => "latches",
            Answer::Undecided => "undecided",
        }
    }

    /// The answer of a word.
    pub fn from_word(word: &str) -> Option<Answer> {
        [Answer::NoOnState, Answer::NotReached, Answer::Latches, Answer::Undecided]
            .into_iter()
            .find(|a| a.word() == word)
    }
}

/// An answer with what led to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    pub answer: Answer,
    /// \[V\]
    pub supply: f64,
    pub margin: f64,
    /// Sentences, the deciding one first.
    pub reasons: Vec<String>,
    /// Which experiment decides, margins, what keeps the path on, what is uncertain; over
    /// temperatures also each one's answer and the lowest holding voltage.
    pub more: Sheet,
}

impl Verdict {
    /// The verdict from the experiments of a case. The lowest voltage minimum of all
    /// branches counts; an on-state at the supply latches if a tested stimulus reaches it:
    /// a static trigger voltage within the supply's reach, or a critical injection.
    pub fn of(spec: VerdictSpec, width: f64, outcomes: &[Outcome]) -> Verdict {
        let limit = spec.supply * (1.0 + spec.margin);
        let mut reasons = Vec::new();
        let mut missing = Vec::new();
        let mut lowest: Option<&Fold> = None;
        let mut reached: Vec<(usize, String)> = Vec::new();
        let mut survived = Vec::new();
        let mut has_snapback = false;
        let mut holder = 0;
        for (k, o) in outcomes.iter().enumerate() {
            match &o.figures {
                Figures::Snapback { trigger, holding, .. } => {
                    has_snapback = true;
                    note_snapback(o, holding, trigger, &mut missing);
                    if let Ok(h) = holding
                        && lowest.is_none_or(|l| h.voltage < l.voltage)
                    {
                        (lowest, holder) = (Some(h), k);
                    }
                    match trigger {
                        Ok(t) if t.voltage <= limit => reached.push((
                            k,
                            format!(
                                "the path triggers by itself at {:.3} V, within {limit:.3} V",
                                t.voltage
                            ),
                        )),
                        Ok(t) => survived.push(format!(
                            "the static trigger voltage is {:.2} V, beyond the supply",
                            t.voltage
                        )),
                        Err(_) => {}
                    }
                }
                Figures::Injection { critical, beside, .. } => {
                    let into = o.drive.join(", ");
                    match critical {
                        Ok(_) if beside.yes_no_at("confirm/stays") == Some(false) => {
                            survived.push(format!(
                                "injection into {into} ends the off-state, but the supply current does not stay when it is taken back"
                            ));
                        }
                        Ok(_) if beside.yes_no_at("level/passes") == Some(true) => {
                            survived.push(stands(&into, beside));
                        }
                        Ok(c) => reached.push((
                            k,
                            format!(
                                "{:+.3e} A/µm ({:+.3} mA at the {width} µm width) forced into {into} makes it latch",
                                c.current,
                                1e3 * c.current * width
                            ),
                        )),
                        Err(reason) if o.status != Status::Complete => missing
                            .push(format!("the injection into {into} is not finished: {reason}")),
                        Err(reason) => survived.push(format!("injection into {into}: {reason}")),
                    }
                }
                Figures::Named(sheet) => match sheet.find("latches").map(|f| &f.value) {
                    Some(Shown::YesNo(Ok(true))) => reached.push((k, stimulus(o, sheet, true))),
                    Some(Shown::YesNo(Ok(false))) => survived.push(stimulus(o, sheet, false)),
                    Some(Shown::YesNo(Err(why))) => {
                        missing.push(format!("the {} has no answer: {why}", o.kind));
                    }
                    _ => {}
                },
                Figures::Bias { .. } => {}
            }
        }
        let answer = match lowest {
            _ if !has_snapback => {
                missing.push("no snapback experiment says whether an on-state exists".into());
                Answer::Undecided
            }
            Some(h) if h.voltage < limit => {
                reasons.push(format!(
                    "an on-state exists: its holding voltage of {:.3} V at {:.3e} A/µm lies below {:.2} V · (1 + {}) = {limit:.3} V",
                    h.voltage, h.current, spec.supply, spec.margin
                ));
                if !reached.is_empty() {
                    Answer::Latches
                } else if missing.is_empty() {
                    Answer::NotReached
                } else {
                    Answer::Undecided
                }
            }
            _ if !missing.is_empty() => Answer::Undecided,
            Some(h) => {
                reasons.push(format!(
                    "no on-state at the supply: the lowest holding voltage, {:.3} V, lies above {limit:.3} V",
                    h.voltage
                ));
                Answer::NoOnState
            }
            None => {
                reasons.push("no branch traced has a voltage minimum".to_string());
                reasons.extend(outcomes.iter().filter_map(|o| conducts(o, limit)));
                Answer::NoOnState
            }
        };
        let deciding = match (answer, reached.first()) {
            (Answer::Latches, Some((k, _))) => Some(*k),
            (Answer::Undecided, _) => None,
            _ => has_snapback.then_some(holder),
        };
        let decides = match deciding.and_then(|k| outcomes.get(k).map(|o| (k, o))) {
            Some((k, o)) => format!("experiment {k}: {} on {}", o.kind, o.drive.join(", ")),
            None => match missing.first() {
                Some(what) => format!("none: {what}"),
                None => "none".to_string(),
            },
        };
        let more = Sheet::new()
            .text("decides", "decided by", &decides)
            .group(
                "margins",
                "margins, negative where there is none",
                margins(spec, width, outcomes, lowest),
            )
            .group("stays_on", "both conditions to stay on", conditions(spec, width, lowest))
            .texts("uncertain", "what is uncertain", &uncertain(outcomes))
            .text("note", "how far it goes", CAUTION);
        reasons.extend(reached.into_iter().map(|(_, text)| text));
        reasons.extend(survived);
        if let (Some(h), Some(available)) = (lowest, spec.supply_current)
            && h.current * width > available
        {
            reasons.push(format!(
                "the supply delivers {:.3e} A, less than the holding current of {:.3e} A at the {width} µm width: it cannot keep the path on",
                available,
                h.current * width
            ));
        }
        reasons.extend(missing.into_iter().map(|m| format!("missing: {m}")));
        Verdict { answer, supply: spec.supply, margin: spec.margin, reasons, more }
    }
}

/// A path without folds that carries its whole current within the supply's reach: nothing
/// latches, but nothing blocks either.
fn conducts(o: &Outcome, limit: f64) -> Option<String> {
    let (v, i) = (o.curve.voltage.last()?, o.curve.current.last()?);
    let snapback = matches!(o.figures, Figures::Snapback { .. });
    (snapback && o.status == Status::Complete && *v <= limit).then(|| {
        format!(
            "{} carries {i:.3e} A/µm at {v:.3} V without any fold: it conducts, nothing has to trigger it; see that it is not a plain junction or resistor across the supply",
            o.drive.join(" and ")
        )
    })
}

fn note_snapback(
    o: &Outcome,
    holding: &Found<Fold>,
    trigger: &Found<Fold>,
    missing: &mut Vec<String>,
) {
    if o.status == Status::Complete || holding.is_ok() {
        return;
    }
    let what = if trigger.is_ok() { "its voltage minimum" } else { "its trigger point" };
    missing.push(format!(
        "the snapback of {} ended before {what}: {}",
        o.drive.join(" and "),
        o.status.reason()
    ));
}
