//! Text from cases and results made harmless for a terminal: what would move the cursor,
//! change colours, break the line or turn the direction of reading is shown as its code.

use crate::experiment::{Figures, Found, Outcome, Sheet, Shown, Status};
use crate::record::RunRecord;

/// Characters that a terminal acts on instead of showing them: control characters (C0, C1,
/// DEL), line separators, and those that reorder text (Unicode Annex 9, section 2).
fn acts(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

fn shown(text: &str, keep: impl Fn(char) -> bool) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match acts(c) && !keep(c) {
            true => out.extend(c.escape_default()),
            false => out.push(c),
        }
    }
    out
}

/// For a name or a sentence within a line.
pub(super) fn line(text: &str) -> String {
    shown(text, |_| false)
}

/// For whole output: line ends and tabs stay.
pub(super) fn lines(text: &str) -> String {
    // A carriage return alone would write over the line.
    shown(text, |c| c == '\n' || c == '\t').replace("\\r\n", "\r\n")
}

/// For a JSON document, where such characters can only stand in strings.
pub(super) fn json(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match acts(c) && c != '\n' {
            true => out.push_str(&format!("\\u{:04x}", u32::from(c))),
            false => out.push(c),
        }
    }
    out
}

/// The record with all texts that tables and summaries show made harmless.
pub(super) fn record(r: &RunRecord) -> RunRecord {
    let mut r = r.clone();
    each(&mut r.warnings);
    for text in [&mut r.title, &mut r.case_name] {
        *text = line(text);
    }
    let by = &mut r.provenance;
    for text in [&mut by.version, &mut by.machine, &mut by.started] {
        *text = line(text);
    }
    for (property, law) in &mut r.laws {
        (*property, *law) = (line(property), line(law));
    }
    for c in &mut r.constants {
        (c.law, c.key, c.unit) = (line(&c.law), line(&c.key), line(&c.unit));
    }
    for t in &mut r.mesh.terminals {
        t.name = line(&t.name);
    }
    r.experiments.iter_mut().for_each(outcome);
    if let Some(v) = &mut r.verdict {
        each(&mut v.reasons);
        sheet(&mut v.more);
    }
    sheet(&mut r.extract);
    for s in r.follows.iter_mut().chain(&mut r.rules).chain(&mut r.spreads) {
        sheet(s);
    }
    r
}

fn each(texts: &mut [String]) {
    for text in texts {
        *text = line(text);
    }
}

fn reason<T>(found: &mut Found<T>) {
    if let Err(why) = found {
        *why = line(why);
    }
}

fn outcome(o: &mut Outcome) {
    o.kind = line(&o.kind);
    each(&mut o.drive);
    each(&mut o.warnings);
    each(&mut o.curve.terminals);
    sheet(&mut o.flow);
    if let Status::Stopped(why) = &mut o.status {
        *why = line(why);
    }
    for f in &mut o.fields {
        f.label = line(&f.label);
    }
    match &mut o.figures {
        Figures::Snapback { trigger, holding, on_branch } => {
            reason(trigger);
            reason(holding);
            reason(on_branch);
        }
        Figures::Injection { critical, beside, .. } => {
            reason(critical);
            sheet(beside);
        }
        Figures::Named(named) => sheet(named),
        Figures::Bias { .. } => {}
    }
    for rerun in o.bars.iter_mut().flat_map(|b| &mut b.reruns) {
        rerun.points.iter_mut().for_each(reason);
    }
}

fn sheet(sheet_: &mut Sheet) {
    for f in &mut sheet_.figures {
        for text in [&mut f.name, &mut f.unit, &mut f.meaning] {
            *text = line(text);
        }
        match &mut f.value {
            Shown::Number(found) => reason(found),
            Shown::YesNo(found) => reason(found),
            Shown::Text(text) => *text = line(text),
            Shown::Texts(texts) => each(texts),
            Shown::Group(inner) => sheet(inner),
            Shown::Numbers { .. } => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{json, line, lines};

    #[test]
    fn nothing_acts() {
        assert_eq!(line("a\x1b[2J\nµ\u{202e}\u{9b}"), "a\\u{1b}[2J\\nµ\\u{202e}\\u{9b}");
        assert_eq!(lines("a\tb\r\nc\rd\n\x07"), "a\tb\r\nc\\rd\n\\u{7}");
        assert_eq!(json("{\n\"\u{9b}\"}"), "{\n\"\\u009b\"}");
    }
}
