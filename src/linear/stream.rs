//! Where fronts are built, and asking for finished ones ahead of their use.
//!
//! The factors of one front are not read again before the solve, and all of them do not fit
//! a cache: a front is built in a small workspace that stays hot, and its finished columns are
//! kept (see `keep`) by stores that do not read the old lines first.

use std::cell::RefCell;

use crate::bare;

use super::aligned::Aligned;

thread_local! {
    static WORKSPACE: RefCell<Vec<f64>> = const { RefCell::new(Vec::new()) };
    static SPARE: RefCell<Vec<Aligned>> = const { RefCell::new(Vec::new()) };
}

/// Run `build` on workspace of so many numbers for contribution blocks, which this thread used
/// before if it can be: what is written there again is in the cache. What it holds before is
/// left over. `build` may run other tasks of the pool, which take other workspace.
pub(super) fn in_spare<R>(len: usize, build: impl FnOnce(&mut [f64]) -> R) -> R {
    let mut space = SPARE.with_borrow_mut(Vec::pop).unwrap_or_default();
    if space.get().len() < len {
        space.resize(len);
    }
    let done = build(&mut space.get_mut()[..len]);
    SPARE.with_borrow_mut(|spare| spare.push(space));
    done
}

/// Run `build` on workspace of so many numbers that begins at a cache line. What it holds
/// before is left over. `build` may not run other tasks of the pool.
pub(super) fn in_workspace<R>(len: usize, build: impl FnOnce(&mut [f64]) -> R) -> R {
    WORKSPACE.with_borrow_mut(|space| {
        if space.len() < len + 8 {
            space.resize(len + 8, 0.0);
        }
        let start = (space.as_ptr() as usize).wrapping_neg() % 64 / 8;
        build(&mut space[start..start + len])
    })
}

/// Numbers that are asked for ahead at most: of larger fronts the start, whose rest the
/// processor asks for by itself. Measured on fronts fresh from a factorization, 29,586
/// unknowns, one column: 4.4 to 2.7 ms.
const AHEAD: usize = 6 * 1024;

/// Ask for `data` to be in the second-level cache soon. Substitution reads every factor once,
/// from memory, front after front: without this it waits for each.
pub(super) fn prefetch(data: &[f64]) {
    bare::prefetch(&data[..data.len().min(AHEAD)]);
}
