//! Elimination of a large front: the two halves side by side.
//!
//! A square of pivots is factored first; then the rows below it are independent in the two
//! halves, but for the rows of the square, which are copied.

use pulp::Arch;

use super::kernel::Operand;
use super::panel::{Eliminate, SolveRows};
use super::symbolic::padded;

/// Pivots per square, a multiple of `LANE`.
const SQUARE: usize = 48;

/// Numbers of workspace for the copies of a front with so many pivots.
pub(super) fn workspace(pivots: usize) -> usize {
    2 * SQUARE * pivots
}

/// As `Eliminate` for all pivots.
pub(super) fn eliminate_wide(
    arch: Arch,
    (lower, upper): (&mut [f64], &mut [f64]),
    (pivots, ld): (usize, usize),
    work: &mut [f64],
) -> bool {
    let (own, other) = work.split_at_mut(SQUARE * pivots);
    for start in (0..pivots).step_by(SQUARE) {
        let columns = start..pivots.min(start + SQUARE);
        let end = padded(columns.end);
        let square = Eliminate { lower, upper, ld, columns: columns.clone(), end };
        if !arch.dispatch(square) {
            return false;
        }
        if end == ld {
            break;
        }
        let height = end - start;
        for (half, copy) in [(&*lower, &mut *own), (&*upper, &mut *other)] {
            for (from, to) in
                half.chunks_exact(ld).zip(copy.chunks_exact_mut(height)).take(columns.end)
            {
                to.copy_from_slice(&from[start..end]);
            }
        }
        let l = Operand { data: own, ld: height, row: 0 };
        let u = Operand { data: other, ld: height, row: 0 };
        let rows = end..ld;
        let again = (columns.clone(), rows.clone());
        let task = |half, own, other, lower, (columns, rows)| {
            arch.dispatch(SolveRows { half, ld, columns, rows, own, other, lower });
        };
        rayon::join(
            || task(lower, l, u, true, (columns, rows)),
            || task(upper, u, l, false, again),
        );
    }
    true
}
