//! The verdict: would the supply keep the path on, and does a tested stimulus reach it?

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
}

/// An answer with what led to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    pub answer: Answer,
    /// [V]
    pub supply: f64,
    pub margin: f64,
    /// Sentences, the deciding one first.
    pub reasons: Vec<String>,
}
