//! What is wrong with an input, where, and what would be right.

use super::model::Span;

/// One thing wrong with a case.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// Stable word, e.g. `unknown-key`, `wrong-unit`, `short`.
    pub code: &'static str,
    /// What is wrong, with the numbers.
    pub text: String,
    /// Where in the case text; `None` if it concerns the whole file.
    pub at: Option<Span>,
    /// Shown at the place, e.g. "did you mean `donors`?".
    pub label: String,
    /// What would be right.
    pub help: Option<String>,
    /// A second place that matters, with its label.
    pub other: Option<(Span, String)>,
    /// Text that would be right at `at`, if it can simply be replaced.
    pub replacement: Option<String>,
    pub severity: Severity,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    Error,
    Warning,
}

impl Problem {
    /// An error at a place.
    pub fn error(code: &'static str, at: Option<Span>, text: impl Into<String>) -> Problem {
        Problem {
            code,
            text: text.into(),
            at,
            label: String::new(),
            help: None,
            other: None,
            replacement: None,
            severity: Severity::Error,
        }
    }

    /// The same as a warning.
    pub fn warning(code: &'static str, at: Option<Span>, text: impl Into<String>) -> Problem {
        Problem { severity: Severity::Warning, ..Problem::error(code, at, text) }
    }

    /// With what would be right.
    pub fn help(mut self, help: impl Into<String>) -> Problem {
        self.help = Some(help.into());
        self
    }

    /// With words beside the place.
    pub fn label(mut self, label: impl Into<String>) -> Problem {
        self.label = label.into();
        self
    }

    /// With a second place.
    pub fn other(mut self, at: Span, label: impl Into<String>) -> Problem {
        self.other = Some((at, label.into()));
        self
    }
}
