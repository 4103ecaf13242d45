//! What is wrong with explicit mesh lines.

use super::geometry_checks::SAME;
use super::problem::Problem;
use super::units::show;
use super::walk::{Read, Value, Walker};

impl Walker<'_> {
    /// Explicit mesh lines: growing, from end to end of the silicon.
    pub fn lines(&mut self, case: &Read, span: Option<f64>, thickness: Option<f64>) {
        let Some(grid) = case.table("grid") else { return };
        for (key, end, name) in [("x", span, "span"), ("y", thickness, "thickness")] {
            let Some(lines) = grid.numbers(key) else { continue };
            let mut pairs = lines.iter().zip(lines.iter().skip(1));
            if let Some((before, after)) = pairs.find(|(a, b)| b.value <= a.value) {
                let text = format!(
                    "`{key}` must grow: {} um follows {} um",
                    show(after.value),
                    show(before.value)
                );
                self.push(
                    Problem::error("not-growing", Some(after.at.clone()), text)
                        .label("not larger than the one before")
                        .help("sort the lines and give each once"),
                );
                continue;
            }
            let gates = !case.tables("gate").is_empty();
            let (Some(first), Some(last), Some(end)) = (lines.first(), lines.last(), end) else {
                continue;
            };
            // Lines inside a gate's oxide lie above the surface.
            let above = key == "y" && gates && first.value < 0.0;
            let starts = lines.iter().any(|l| l.value == 0.0) && (above || first.value == 0.0);
            let (good, at) = if starts {
                ((last.value - end).abs() <= SAME, &last.at)
            } else {
                (false, &first.at)
            };
            if !good || lines.len() < 2 {
                let text =
                    format!("`{key}` must run from 0 to the wafer's {name}, {} um", show(end));
                self.push(
                    Problem::error("lines-do-not-cover", Some(at.clone()), text)
                        .label("not from end to end")
                        .help("the silicon's ends are mesh lines; only `y` may go below 0, inside a gate's oxide"),
                );
            }
        }
        let given = grid.numbers("x").is_some() && grid.numbers("y").is_some();
        if grid.word("grading") == Some("solution") && given {
            self.push(
                Problem::warning(
                    "grading-not-used",
                    Some(grid.at("grading")),
                    "`grading` has no effect: the lines are given",
                )
                .label("not used")
                .help("leave out `grading`, or `x` and `y`"),
            );
        }
        if let (Some(Value::Number(_)), true, true) = (
            grid.field("nodes").map(|f| &f.value),
            grid.numbers("x").is_some(),
            grid.numbers("y").is_some(),
        ) {
            self.push(
                Problem::warning(
                    "nodes-not-used",
                    Some(grid.at("nodes")),
                    "`nodes` has no effect: the lines are given",
                )
                .label("not used")
                .help("leave out `nodes`, or `x` and `y`"),
            );
        }
    }
}
