//! Whether a case fits into this machine, told before anything large is made.

use std::fs;
use std::path::Path;

use crate::case::{Case, Problem};
use crate::sweep;

/// Bytes that this process may use: the machine's memory, or less where a control group
/// or `ulimit -v` says so. `None` where none of them can be read.
fn machine() -> Option<f64> {
    let number = |text: &str| text.trim().parse::<f64>().ok();
    let read = |path: &str| fs::read_to_string(Path::new(path)).unwrap_or_default();
    let about = read("/proc/meminfo");
    let total = about.lines().find_map(|l| {
        number(l.strip_prefix("MemTotal:")?.trim().trim_end_matches("kB")).map(|kib| kib * 1024.0)
    });
    let group = number(&read("/sys/fs/cgroup/memory.max"));
    let limits = read("/proc/self/limits");
    let space = limits
        .lines()
        .find_map(|l| number(l.strip_prefix("Max address space")?.split_whitespace().next()?));
    [total, group, space].into_iter().flatten().reduce(f64::min)
}

/// Memory that can be had now [bytes], if the system says.
pub(super) fn available() -> Option<f64> {
    let about = fs::read_to_string("/proc/meminfo").unwrap_or_default();
    about.lines().find_map(|l| {
        let rest = l.strip_prefix("MemAvailable:")?;
        rest.trim().trim_end_matches("kB").trim().parse::<f64>().ok().map(|kib| kib * 1024.0)
    })
}

/// The problem of a case that needs more memory than there is, on a mesh of `times` its
/// nodes.
pub(super) fn beyond(case: &Case, times: f64) -> Option<Problem> {
    beyond_of(case, times, machine()?)
}

fn beyond_of(case: &Case, times: f64, there: f64) -> Option<Problem> {
    let nodes = sweep::nodes_asked(case) * times;
    let need = sweep::bytes_of(nodes);
    if need <= there {
        return None;
    }
    let gib = |bytes: f64| format!("{:.1} GiB", bytes / f64::from(1 << 30));
    let most = (sweep::nodes_in(there) / times).floor();
    let help = match most >= 20.0 {
        true => format!("a mesh of {most:.0} nodes fits; 8000 are the default"),
        false => "a run needs more memory than this process may use".to_string(),
    };
    let text =
        format!("{nodes:.0} nodes need about {} of memory, there are {}", gib(need), gib(there));
    let at = Some(case.grid.at.clone()).filter(|at| !at.is_empty());
    Some(Problem::error("too-large", at, text).label("this grid").help(help))
}

#[cfg(test)]
mod tests {
    use super::beyond_of;
    use crate::case::read_str;

    #[test]
    fn the_estimate_decides() {
        let text = include_str!("../../meshes/diode-strip.toml");
        let (mut case, _) = read_str(text, "").unwrap();
        case.grid.nodes = Some(100_000);
        assert!(beyond_of(&case, 1.0, 3e9).is_none());
        let said = beyond_of(&case, 1.0, 2e9).unwrap();
        assert!(said.text.contains("100000 nodes need about 2.3 GiB"), "{}", said.text);
        // The finer mesh of error bars counts four times.
        case.grid.nodes = Some(25_000);
        assert!(beyond_of(&case, 1.0, 2e9).is_none() && beyond_of(&case, 4.0, 2e9).is_some());
        assert!(
            said.help.as_deref().is_some_and(|h| h.contains("80833 nodes fits")),
            "{:?}",
            said.help
        );
    }
}
