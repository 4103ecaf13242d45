//! A measured doping profile: CSV with the columns depth_um, concentration_cm3.

/// The header that a profile starts with.
pub const HEADER: [&str; 2] = ["depth_um", "concentration_cm3"];
/// A depth profile has hundreds of points; more than this is another kind of file.
const MOST_ROWS: usize = 100_000;

/// A profile: depths \[µm\], strictly growing, and densities [cm⁻³] > 0.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfileTable {
    pub depth: Vec<f64>,
    pub density: Vec<f64>,
}

/// What is wrong with a profile; `text` names the line of the CSV.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfileProblem {
    pub code: &'static str,
    pub text: String,
    pub help: String,
}

/// Reads a profile. Comments start with `#`; the first problem ends the reading, since
/// what follows a misread line says little.
pub fn parse(text: &str) -> Result<ProfileTable, ProfileProblem> {
    let mut table = ProfileTable { depth: Vec::new(), density: Vec::new() };
    let mut header = false;
    let text = text.trim_start_matches('\u{feff}');
    for (index, line) in text.lines().enumerate() {
        let content = line.split('#').next().unwrap_or("").trim();
        if content.is_empty() {
            continue;
        }
        let cells: Vec<&str> = content.split(',').map(str::trim).collect();
        if !header {
            if cells != HEADER {
                return Err(bad(index, format!("the header is \"{}\"", cut(content))));
            }
            header = true;
            continue;
        }
        let [depth, density] = cells[..] else {
            return Err(bad(index, format!("{} columns instead of 2", cells.len())));
        };
        let depth = finite(depth).ok_or_else(|| not_number(index, depth))?;
        let density = finite(density).ok_or_else(|| not_number(index, density))?;
        if depth < 0.0 {
            return Err(bad(index, format!("depth {depth} um lies above the surface")));
        }
        // Silicon has 5e22 atoms per cm³.
        if !(density > 0.0 && density <= 5e22) {
            let what = format!("concentration {density:e} cm^-3 is not above 0 and at most 5e22");
            return Err(bad(index, what));
        }
        if let Some(last) = table.depth.last().filter(|last| depth <= **last) {
            return Err(ProfileProblem {
                code: "non-monotonic-depth",
                text: format!(
                    "line {}: depth {depth} um does not grow beyond {last} um",
                    index + 1
                ),
                help: "sort the rows by depth and give each depth once".to_string(),
            });
        }
        if table.depth.len() == MOST_ROWS {
            return Err(bad(index, format!("more than {MOST_ROWS} rows")));
        }
        table.depth.push(depth);
        table.density.push(density);
    }
    if table.depth.len() < 2 {
        return Err(ProfileProblem {
            code: "bad-profile",
            text: format!("{} rows of numbers, at least 2 are needed", table.depth.len()),
            help: how(),
        });
    }
    Ok(table)
}

fn finite(cell: &str) -> Option<f64> {
    cell.parse::<f64>().ok().filter(|v| v.is_finite())
}

fn cut(text: &str) -> String {
    text.chars().take(60).collect::<String>().escape_debug().to_string()
}

fn how() -> String {
    format!(
        "the file has a header \"{}\", then one row per depth; # starts a comment",
        HEADER.join(", ")
    )
}

fn bad(index: usize, what: String) -> ProfileProblem {
    ProfileProblem { code: "bad-profile", text: format!("line {}: {what}", index + 1), help: how() }
}

fn not_number(index: usize, cell: &str) -> ProfileProblem {
    bad(index, format!("\"{}\" is not a finite number", cut(cell)))
}
