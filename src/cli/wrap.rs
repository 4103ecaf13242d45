//! Long lines folded at blanks for a terminal, which would cut words in two.

/// Wider than this is hard to read.
const WIDEST: usize = 100;
/// Least room for words beside their indent.
const LEAST: usize = 20;

/// Folds every line that is longer than `width` columns; what follows stands two columns
/// deeper. Colours take no room; drawings fit and stay as they are.
pub(super) fn wrapped(text: &str, width: usize) -> String {
    let width = width.min(WIDEST);
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let (line, end) = line.strip_suffix('\n').map_or((line, ""), |l| (l, "\n"));
        if columns(line) <= width {
            out.push_str(line);
        } else {
            fold(line, width, &mut out);
        }
        out.push_str(end);
    }
    out
}

fn fold(line: &str, width: usize, out: &mut String) {
    let blanks = line.len() - line.trim_start_matches(' ').len();
    let deeper = (blanks + 2).min(width.saturating_sub(LEAST));
    out.push_str(&" ".repeat(blanks));
    let mut at = blanks;
    // Blanks between two words stay, so that columns do.
    for word in line[blanks..].split_inclusive(' ') {
        let size = columns(word.trim_end_matches(' '));
        if at + size > width && at > deeper {
            let kept = out.trim_end_matches(' ').len();
            out.truncate(kept);
            out.push('\n');
            out.push_str(&" ".repeat(deeper));
            at = deeper;
        }
        out.push_str(word);
        at += columns(word);
    }
}

/// Characters that take room: none of a colour's escape.
fn columns(text: &str) -> usize {
    let mut escape = false;
    let seen = text.chars().filter(|c| match (escape, c) {
        (true, c) => {
            escape = *c != 'm';
            false
        }
        (false, '\x1b') => {
            escape = true;
            false
        }
        _ => true,
    });
    seen.count()
}

#[cfg(test)]
mod tests {
    use super::{columns, wrapped};

    #[test]
    fn lines_fit_and_no_word_is_lost() {
        let text = "short\n  trigger    24.76 V at 208.5 µA/µm (2.085 mA)\n\n\x1b[1mverdict: \
                    no-on-state\x1b[0m at a supply of 1.200 V with a margin of 10.0 %\n";
        for width in [24, 40, 80] {
            let folded = wrapped(text, width);
            assert!(folded.lines().all(|l| columns(l) <= width), "{width}: {folded}");
            let words = |t: &str| t.split_whitespace().map(str::to_string).collect::<Vec<_>>();
            assert_eq!(words(&folded), words(text));
            assert!(folded.lines().all(|l| !l.ends_with(' ')));
        }
        assert_eq!(wrapped(text, 80), text);
        let deeper = wrapped("  a b c d e f g h i j k l m n o p q r s t u v w\n", 24);
        assert!(deeper.lines().nth(1).unwrap().starts_with("    l"), "{deeper}");
        // A word without end is left whole.
        assert_eq!(wrapped(&"x".repeat(90), 40), "x".repeat(90));
        assert_eq!(wrapped("", 40), "");
    }
}
