//! Names that writing and reading share.

/// Root attribute `schema`.
pub(super) const SCHEMA: &str = "holdpoint-result";
/// Root attribute `schema_version`: a reader refuses another major number; the minor
/// number grows when something is added that old readers may ignore.
pub const SCHEMA_VERSION: [u32; 2] = [1, 2];

/// Group names for terminal names: a slash would open a deeper group, a dot alone means
/// the group itself, and `reserved` names are taken by columns. The true name is in the
/// group's attribute `name`.
pub(super) fn groups_of(terminals: &[String], reserved: &[&str]) -> Vec<String> {
    let mut names: Vec<String> = Vec::with_capacity(terminals.len());
    for terminal in terminals {
        let plain = match terminal.replace('/', "_") {
            t if t.is_empty() || t == "." => "terminal".to_string(),
            t => t,
        };
        let mut name = plain.clone();
        let mut count = 1;
        while reserved.contains(&name.as_str()) || names.contains(&name) {
            count += 1;
            name = format!("{plain}~{count}");
        }
        names.push(name);
    }
    names
}

/// Columns of `/experiment/k/curve`.
pub(super) const CURVE_COLUMNS: [&str; 7] =
    ["point", "voltage", "current", "imbalance", "largest", "newton", "terminal"];

#[cfg(test)]
mod tests {
    use super::groups_of;

    #[test]
    fn awkward_terminal_names_get_distinct_groups() {
        let names: Vec<String> =
            ["a/b", "a_b", ".", "", "voltage", "n+ tap"].iter().map(|s| s.to_string()).collect();
        assert_eq!(
            groups_of(&names, &["voltage"]),
            ["a_b", "a_b~2", "terminal", "terminal~2", "voltage~2", "n+ tap"]
        );
    }
}
