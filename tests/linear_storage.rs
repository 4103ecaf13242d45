//! A Newton step allocates nothing after the first.

mod linear_support;

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};

use holdpoint::linear::DirectSolver;
use linear_support::{drift_diffusion, vector};

struct Counting;

static COUNT: AtomicUsize = AtomicUsize::new(0);

// SAFETY: hands everything to the system's allocator.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        COUNT.fetch_add(1, Ordering::Relaxed);
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

#[test]
fn nothing_is_allocated_after_the_first_step() {
    let a = drift_diffusion(80, 80, 1e17);
    let n = a.pattern.rows * 3;
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    pool.install(|| {
        let mut solver = DirectSolver::new(a.pattern.clone()).unwrap();
        let b = vector(2 * n, 1);
        let mut x = b.clone();
        let mut step = |x: &mut [f64]| {
            x.copy_from_slice(&b);
            solver.factor(&a).unwrap();
            solver.solve(&a, x, 2).unwrap();
            solver.solve_transposed(&a, x, 1).unwrap();
        };
        step(&mut x);
        let before = COUNT.load(Ordering::Relaxed);
        (0..3).for_each(|_| step(&mut x));
        let allocated = COUNT.load(Ordering::Relaxed) - before;
        assert_eq!(allocated, 0);
    });
}
