//! Who made a result, on what, when.

use std::time::{SystemTime, UNIX_EPOCH};

use super::Provenance;

/// Version of the program; a build that knows its revision sets HOLDPOINT_VERSION, e.g.
/// to "0.1.0 (rev 1a2b3c4)".
pub fn version() -> &'static str {
    option_env!("HOLDPOINT_VERSION").unwrap_or(env!("CARGO_PKG_VERSION"))
}

impl Provenance {
    /// This program on this machine, started now, wall time 0.
    pub fn here(threads: usize) -> Provenance {
        Provenance {
            version: version().to_string(),
            machine: format!("{} {}", std::env::consts::ARCH, std::env::consts::OS),
            threads,
            started: iso(SystemTime::now()),
            wall: 0.0,
        }
    }
}

/// UTC in ISO 8601, to the second.
fn iso(time: SystemTime) -> String {
    let seconds = time.duration_since(UNIX_EPOCH).map_or(0, |d| d.as_secs());
    let (days, rest) = (seconds / 86_400, seconds % 86_400);
    let (year, month, day) = civil(days);
    let (hour, minute, second) = (rest / 3600, rest / 60 % 60, rest % 60);
    format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}Z")
}

/// Year, month and day of a day counted from 1970-01-01: Hinnant's `civil_from_days`
/// (chrono-compatible low-level date algorithms, 2013), for days after 1970 only.
fn civil(days: u64) -> (u64, u64, u64) {
    let z = days + 719_468;
    let era = z / 146_097;
    let of_era = z % 146_097;
    let year = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year + year / 4 - year / 100);
    let shifted = (5 * of_year + 2) / 153;
    let day = of_year - (153 * shifted + 2) / 5 + 1;
    let month = if shifted < 10 { shifted + 3 } else { shifted - 9 };
    (year + era * 400 + u64::from(month <= 2), month, day)
}

#[cfg(test)]
mod tests {
    use std::time::{Duration, UNIX_EPOCH};

    #[test]
    fn known_moments() {
        // POSIX: 1 000 000 000 s is 2001-09-09T01:46:40Z; leap days by hand.
        let moments = [
            (0, "1970-01-01T00:00:00Z"),
            (1_000_000_000, "2001-09-09T01:46:40Z"),
            (951_782_400, "2000-02-29T00:00:00Z"),
            (1_709_164_799, "2024-02-28T23:59:59Z"),
            (1_709_164_800, "2024-02-29T00:00:00Z"),
        ];
        for (seconds, text) in moments {
            assert_eq!(super::iso(UNIX_EPOCH + Duration::from_secs(seconds)), text);
        }
    }
}
