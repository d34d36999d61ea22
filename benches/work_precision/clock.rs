//! Processor time of the calling thread: what a busy machine gives to others does not count.

/// Number of that clock (POSIX.1-2008; Linux).
const THREAD: i32 = 3;

unsafe extern "C" {
    fn clock_gettime(clock: i32, time: *mut [i64; 2]) -> i32;
}

/// Processor time so far, s.
pub fn now() -> f64 {
    let mut time = [0; 2];
    // SAFETY: two numbers of 64 bit are what the function writes on 64-bit systems.
    let done = unsafe { clock_gettime(THREAD, &raw mut time) };
    assert_eq!(done, 0, "no processor time");
    time[0] as f64 + 1e-9 * time[1] as f64
}
