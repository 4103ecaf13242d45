//! Problems for people (annotated excerpts of the case) and for programs (JSON).

use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{
    AnnotationKind, Group, Level, Patch, Renderer, Snippet, normalize_untrusted_str,
};
use serde_json::{Value, json};

use super::model::Span;
use super::problem::{Problem, Severity};

/// More problems than this in one file are counted, not shown.
const MOST_SHOWN: usize = 50;

/// Draws `problems` in the case's `text`, file name `path`, ready to print; in colour
/// and with Unicode lines if `colour`, else in plain ASCII lines.
pub fn render(problems: &[Problem], text: &str, path: &str, colour: bool) -> String {
    let renderer = if colour {
        Renderer::styled().decor_style(DecorStyle::Unicode)
    } else {
        Renderer::plain().decor_style(DecorStyle::Ascii)
    };
    let path = if path.is_empty() { "case" } else { path };
    let mut out = String::new();
    for problem in problems.iter().take(MOST_SHOWN) {
        out.push_str(&renderer.render(&report(problem, text, path)));
        out.push_str("\n\n");
    }
    if problems.len() > MOST_SHOWN {
        out.push_str(&format!("… and {} more\n", problems.len() - MOST_SHOWN));
    }
    // The renderer shows the C0 control characters as signs, but not those above 7F, which
    // some terminals act on too.
    out.replace(|c: char| matches!(c, '\u{80}'..='\u{9f}'), "\u{fffd}")
}

fn report<'a>(problem: &'a Problem, text: &'a str, path: &'a str) -> Vec<Group<'a>> {
    let level = match problem.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let title = level.primary_title(problem.text.as_str()).id(problem.code);
    let Some(at) = &problem.at else {
        let mut group = Group::with_title(title);
        if let Some(help) = &problem.help {
            group = group.element(Level::HELP.message(normalize_untrusted_str(help)));
        }
        return vec![group];
    };
    let at = inside(at, text);
    let mut primary = AnnotationKind::Primary.span(at.clone());
    if !problem.label.is_empty() {
        primary = primary.label(problem.label.as_str());
    }
    let mut snippet = Snippet::source(text).path(path).annotation(primary);
    if let Some((other, label)) = &problem.other {
        let other = AnnotationKind::Context.span(inside(other, text)).label(label.as_str());
        snippet = snippet.annotation(other);
    }
    let mut group = title.element(snippet);
    // A replacement shows the corrected line; otherwise the help is said in words.
    match (&problem.replacement, &problem.help) {
        (Some(right), help) => {
            let help = normalize_untrusted_str(help.as_deref().unwrap_or("this would be right"));
            let patch = Snippet::source(text).path(path).patch(Patch::new(at, right.as_str()));
            vec![group, Level::HELP.secondary_title(help).element(patch)]
        }
        (None, Some(help)) => {
            group = group.element(Level::HELP.message(normalize_untrusted_str(help)));
            vec![group]
        }
        (None, None) => vec![group],
    }
}

/// `span` within the text and on character borders: a drawn excerpt needs both.
fn inside(span: &Span, text: &str) -> Span {
    let fit = |i: usize| {
        let mut i = i.min(text.len());
        while !text.is_char_boundary(i) {
            i -= 1;
        }
        i
    };
    let start = fit(span.start);
    start..fit(span.end).max(start)
}

/// The problems as a JSON list: line and column (from 1, in characters; null if the
/// whole file is meant), code, severity, text, help.
pub fn problem_json(problems: &[Problem], text: &str) -> Value {
    let lines = Lines::new(text);
    let list = problems.iter().map(|p| {
        let place = p.at.as_ref().map(|at| lines.place(inside(at, text).start));
        json!({
            "line": place.map(|p| p.0),
            "column": place.map(|p| p.1),
            "code": p.code,
            "severity": match p.severity {
                Severity::Error => "error",
                Severity::Warning => "warning",
            },
            "text": p.text,
            "help": p.help,
        })
    });
    Value::Array(list.collect())
}

/// Where lines start, to find lines and columns without reading the text again.
pub struct Lines<'a> {
    text: &'a str,
    starts: Vec<usize>,
}

impl<'a> Lines<'a> {
    pub fn new(text: &'a str) -> Lines<'a> {
        let breaks = text.bytes().enumerate().filter(|(_, b)| *b == b'\n').map(|(i, _)| i + 1);
        Lines { text, starts: std::iter::once(0).chain(breaks).collect() }
    }

    /// Line and column of a byte, both from 1; columns count characters.
    pub fn place(&self, byte: usize) -> (usize, usize) {
        let line = self.starts.partition_point(|start| *start <= byte);
        let start = self.starts.get(line.saturating_sub(1)).copied().unwrap_or(0);
        (line, self.text.get(start..byte).unwrap_or("").chars().count() + 1)
    }
}
