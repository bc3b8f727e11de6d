//! No allocation: a counting allocator around a run, which counts its own thread alone (the harness has others).

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;

use bedplate_signal::keep::{Keeper, Kept, MOST_BYTES, restore};
use bedplate_signal::{CellConfig, Config, Ledger, Limits, Sample, SignalPath};

struct Counting;

thread_local! {
    static ALLOCATIONS: Cell<usize> = const { Cell::new(0) };
}

// A test has no other way to see allocations than to be the allocator.
#[expect(unsafe_code, reason = "a counting allocator hands every call to the system's unchanged")]
// SAFETY: every call goes to the system's allocator with its arguments as they came.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        ALLOCATIONS.set(ALLOCATIONS.get() + 1);
        // SAFETY: the caller's promises are the system allocator's.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        // SAFETY: the pointer came from the system's allocator with this layout.
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

#[test]
fn ten_minutes_of_samples_with_tare_and_saving_allocate_nothing() {
    let cells: Vec<CellConfig> =
        (0..8).map(|i| CellConfig::straight(i / 4, [f64::from(i as u32), 0.0], 0.0, 1e-3, 100.0)).collect();
    let before = ALLOCATIONS.get();
    let mut path = SignalPath::<8, 2, 1>::new(Config::new(&cells, &[0, 0], 1, 1.0, Limits::default()).unwrap());
    let mut ledger = Ledger::<8, 1>::new();
    let (mut keeper, mut buffer, mut plateaus) = (Keeper::new(), [0; MOST_BYTES], 0);
    for i in 0..6000_u32 {
        let kg = if i % 1000 < 500 { 2.0 } else { 9.0 };
        let counts = [(); 8].map(|()| (i % 97 != 0).then_some(1000.0 * kg + f64::from(i * 7 % 13)));
        let sample = Sample { t_s: f64::from(i) * 0.1, counts, temperature_c: None, tilt_deg: [Some(0.0)] };
        if path.push(&sample).change.is_some() {
            plateaus += 1;
            ledger.take_tare(path.now(None));
            let kept = Kept { ledger, memory: path.memory(None), beside: b"beside" };
            let (_, n) = keeper.save(&kept, 8, 1, &mut buffer).unwrap();
            assert!(restore::<8, 1>(&buffer[..n], &[], 8, 1).is_ok());
        }
    }
    assert_eq!(ALLOCATIONS.get() - before, 0);
    assert_eq!(std::hint::black_box(Box::new(before)).as_ref(), &before);
    assert_eq!(ALLOCATIONS.get() - before, 1, "the counter counts");
    assert_eq!(plateaus, 12, "each step was found");
}
