//! Pieces of columns, checked once for all of them.

use std::marker::PhantomData;

/// Where the columns are: `rows` numbers each, `ld` apart.
#[inline(always)]
fn check(len: usize, ld: usize, rows: usize, count: usize) {
    let last = (count.max(1) - 1).checked_mul(ld).and_then(|at| at.checked_add(rows));
    assert!(last.is_some_and(|end| end <= len) || count == 0, "columns beyond the end");
}

/// The first `rows` numbers of N columns that lie `ld` apart. Panics if they are not there.
#[inline(always)]
pub(crate) fn columns<const N: usize>(data: &[f64], ld: usize, rows: usize) -> [&[f64]; N] {
    check(data.len(), ld, rows, N);
    // SAFETY: column N − 1 ends within `data`, the others before it.
    std::array::from_fn(|j| unsafe { std::slice::from_raw_parts(data.as_ptr().add(j * ld), rows) })
}

/// The same to write to. Panics too if they overlap.
#[inline(always)]
pub(crate) fn columns_mut<const N: usize>(
    data: &mut [f64],
    ld: usize,
    rows: usize,
) -> [&mut [f64]; N] {
    check(data.len(), ld, rows, N);
    assert!(rows <= ld, "columns overlap");
    let start = data.as_mut_ptr();
    // SAFETY: column N − 1 ends within `data`, the others before it, and none reaches into the
    // next.
    std::array::from_fn(|j| unsafe { std::slice::from_raw_parts_mut(start.add(j * ld), rows) })
}

/// Pieces of the columns of two matrices, column by column.
pub(crate) struct Walk<'a, const N: usize> {
    at: [*const f64; 2],
    ld: [usize; 2],
    rows: usize,
    left: usize,
    of: PhantomData<&'a [f64]>,
}

impl<'a, const N: usize> Walk<'a, N> {
    /// The first `rows` numbers of `count` columns of `a`, N of each of `b`; columns lie `ld`
    /// apart. Panics if they are not there.
    #[inline(always)]
    pub fn new(a: &'a [f64], rows: usize, b: &'a [f64], ld: [usize; 2], count: usize) -> Self {
        check(a.len(), ld[0], rows, count);
        check(b.len(), ld[1], N, count);
        Walk { at: [a.as_ptr(), b.as_ptr()], ld, rows, left: count, of: PhantomData }
    }
}

impl<'a, const N: usize> Iterator for Walk<'a, N> {
    type Item = (&'a [f64], &'a [f64; N]);

    #[inline(always)]
    fn next(&mut self) -> Option<Self::Item> {
        if self.left == 0 {
            return None;
        }
        self.left -= 1;
        let [a, b] = self.at;
        self.at = [a.wrapping_add(self.ld[0]), b.wrapping_add(self.ld[1])];
        // SAFETY: this column is one of those that were checked; pointers beyond the last are
        // not read.
        unsafe { Some((std::slice::from_raw_parts(a, self.rows), &*b.cast::<[f64; N]>())) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_are_where_they_belong() {
        let data: Vec<f64> = (0..20).map(f64::from).collect();
        assert_eq!(columns::<3>(&data[1..], 7, 4), [&data[1..5], &data[8..12], &data[15..19]]);
        let mut copy = data.clone();
        columns_mut::<2>(&mut copy, 10, 10)[1].fill(-1.0);
        assert_eq!((&copy[..10], &copy[10..]), (&data[..10], &[-1.0; 10][..]));
        let mut walk = Walk::<2>::new(&data, 3, &data[4..], [8, 7], 3);
        for (a, b) in [(0, 4), (8, 11), (16, 18)] {
            assert_eq!(walk.next(), Some((&data[a..a + 3], &[data[b], data[b + 1]])));
        }
        assert_eq!(walk.next(), None);
        assert_eq!(Walk::<2>::new(&[], 3, &[], [8, 7], 0).count(), 0);
    }

    #[test]
    fn pieces_beyond_the_end_are_refused() {
        let refused = |run: fn() -> f64| std::panic::catch_unwind(run).is_err();
        assert!(refused(|| columns::<3>(&[0.0; 19], 8, 4)[2][3]));
        assert!(refused(|| columns::<2>(&[0.0; 19], usize::MAX, 4)[1][3]));
        assert!(refused(|| columns_mut::<2>(&mut [0.0; 19], 3, 4)[1][3]));
        assert!(refused(|| Walk::<2>::new(&[0.0; 19], 4, &[0.0; 99], [8, 8], 3).count() as f64));
        assert!(refused(|| Walk::<2>::new(&[0.0; 99], 4, &[0.0; 17], [8, 8], 3).count() as f64));
    }
}
