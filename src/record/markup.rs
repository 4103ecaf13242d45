//! Text from cases and results made harmless in XML, HTML and tables.

/// For element content and quoted attributes. Control characters, which markup forbids, and
/// those that turn the direction of reading (Unicode Annex 9, section 2) become spaces.
pub fn markup(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' | '\t' => out.push(c),
            c if c.is_control() || matches!(c, '\u{FFFE}' | '\u{FFFF}') => out.push(' '),
            '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A text as a cell of comma-separated values (RFC 4180). One that a spreadsheet would take
/// for a formula gets an apostrophe before it, which makes it text there (common practice,
/// no source); a number with or without a unit stays as it is.
pub fn cell(text: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || " .^+-/".contains(c);
    let signed = text.strip_prefix(['+', '-']).is_some_and(|rest| {
        rest.starts_with(|c: char| c.is_ascii_digit() || c == '.') && rest.chars().all(plain)
    });
    let text = match text.starts_with(['=', '+', '-', '@', '\t', '\r']) && !signed {
        true => format!("'{text}"),
        false => text.to_string(),
    };
    match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::cell;

    #[test]
    fn cells_are_no_formulas() {
        let as_is = ["n+ tap", "-40 degC", "-1.5e-3", "+2e16 cm^-3", "a=b", ""];
        assert!(as_is.iter().all(|t| cell(t) == *t), "{:?}", as_is.map(cell));
        assert_eq!(cell("=1+2"), "'=1+2");
        assert_eq!(cell("-2+cmd|' /C x'!A0"), "'-2+cmd|' /C x'!A0");
        assert_eq!(cell("@SUM(1,2)"), "\"'@SUM(1,2)\"");
        assert_eq!(cell("a \"b\", c"), "\"a \"\"b\"\", c\"");
    }
}
