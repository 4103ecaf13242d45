//! Loops over registers and choices of their number, written out.

/// Run `$call` for `$k` from 0 to `$end`, at most 8, written out: as a loop it is not
/// unrolled, and the registers that it indexes are kept in memory (eight columns of 24 rows
/// took 420 cycles instead of 60).
macro_rules! unrolled {
    ($k:ident < $end:expr, $call:expr) => {
        unrolled!(@ $k, $end, $call, 0 1 2 3 4 5 6 7)
    };
    (@ $k:ident, $end:expr, $call:expr, $($n:literal)*) => {
        $({
            const $k: usize = $n;
            if $k < $end {
                $call
            }
        })*
    };
}

/// Evaluate `$call` with the width of a panel of which `$left` columns are left, at
/// most `LANE`.
macro_rules! by_width {
    ($left:expr, |$w:ident| $call:expr) => {
        by_width!(@ $left, $w, $call, 1 2 3 4 5 6 7)
    };
    (@ $left:expr, $w:ident, $call:expr, $($n:literal)*) => {
        match $left {
            $($n => { const $w: usize = $n; $call })*
            _ => { const $w: usize = 8; $call }
        }
    };
}

pub(super) use {by_width, unrolled};
