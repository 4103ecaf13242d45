//! Where a verb prints: results to stdout, everything else to stderr.

use std::io::{ErrorKind, IsTerminal, Write};
use std::path::Path;
use std::sync::{Arc, Mutex};

use serde_json::Value;

use super::visible;

/// The two streams and what is known about them.
pub struct Io {
    out: Box<dyn Write + Send>,
    err: Box<dyn Write + Send>,
    /// Columns of stdout, if it is a terminal.
    pub(super) out_columns: Option<usize>,
    /// Stderr is a terminal: progress may be drawn as a bar.
    pub(super) err_terminal: bool,
    /// Stderr takes colour.
    pub(super) err_colour: bool,
    lost: Option<std::io::Error>,
}

/// What a captured stream was told.
type Captured = Arc<Mutex<Vec<u8>>>;

struct Capture(Captured);

impl Write for Capture {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        if let Ok(mut all) = self.0.lock() {
            all.extend_from_slice(bytes);
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Io {
    /// The process's own streams. Colour is removed where it is not wanted (no terminal,
    /// NO_COLOR).
    pub fn real() -> Io {
        let dumb = std::env::var_os("TERM").is_some_and(|t| t == "dumb");
        let columns = terminal_size::terminal_size_of(std::io::stdout());
        let choice = anstream::AutoStream::choice(&std::io::stderr());
        Io {
            out: Box::new(anstream::stdout()),
            err: Box::new(anstream::stderr()),
            out_columns: columns.map(|(w, _)| usize::from(w.0)),
            err_terminal: std::io::stderr().is_terminal() && !dumb,
            err_colour: choice != anstream::ColorChoice::Never,
            lost: None,
        }
    }

    /// Streams that keep what they are told, without colour, and a reader of each: for
    /// tests. `columns` makes stdout a terminal.
    pub fn captured(columns: Option<usize>) -> (Io, impl Fn() -> (String, String)) {
        let (out, err) = (Captured::default(), Captured::default());
        let plain = |all: &Captured| -> Box<dyn Write + Send> {
            Box::new(anstream::StripStream::new(
                Box::new(Capture(all.clone())) as Box<dyn Write + Send>
            ))
        };
        let io = Io {
            out: plain(&out),
            err: plain(&err),
            out_columns: columns,
            err_terminal: false,
            err_colour: false,
            lost: None,
        };
        let text = |all: &Captured| {
            all.lock().map(|b| String::from_utf8_lossy(&b).into_owned()).unwrap_or_default()
        };
        (io, move || (text(&out), text(&err)))
    }

    /// A result without style: nothing in it acts on a terminal.
    pub(super) fn print(&mut self, text: &str) {
        self.print_styled(&visible::lines(text));
    }

    /// A result with styles of our own, whose foreign texts were made harmless before. A
    /// reader that has gone away (`| head`) is no error: the rest is not wanted. Any other
    /// error is kept for [`Io::lost`].
    pub(super) fn print_styled(&mut self, text: &str) {
        if let Err(e) = self.out.write_all(text.as_bytes()).and_then(|()| self.out.flush())
            && e.kind() != ErrorKind::BrokenPipe
        {
            self.lost.get_or_insert(e);
        }
    }

    /// Why a result could not be printed, if so.
    pub(super) fn lost(&mut self) -> Option<std::io::Error> {
        self.lost.take()
    }

    /// A result as JSON.
    pub(super) fn print_json(&mut self, value: &Value) {
        // Only text keys and numbers: this cannot fail; `{value:#}` would be the same.
        let text = serde_json::to_string_pretty(value).unwrap_or_default();
        self.print_styled(&(visible::json(&text) + "\n"));
    }

    /// A message with styles of our own.
    pub(super) fn say(&mut self, text: &str) {
        let _ = self.err.write_all(text.as_bytes()).and_then(|()| self.err.flush());
    }

    /// A message that starts with "error: ".
    pub(super) fn error(&mut self, text: &str) {
        self.say(&format!("\x1b[1;31merror\x1b[0m: {}\n", visible::lines(text)));
    }

    /// Says that a result is not the whole of its run, if so: next to figures alone nothing
    /// else would.
    pub(super) fn note_part(&mut self, path: &Path, complete: bool) {
        if !complete {
            self.note(&format!("{}: not complete: interrupted or still running", path.display()));
        }
    }

    /// A message that starts with "note: ".
    pub(super) fn note(&mut self, text: &str) {
        self.say(&format!("\x1b[1mnote\x1b[0m: {}\n", visible::lines(text)));
    }
}
