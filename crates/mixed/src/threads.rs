//! Independent pieces of work on all processors, with results in order.

use std::cell::Cell;
use std::num::NonZeroUsize;
use std::sync::OnceLock;
use std::thread;

/// Results of `f(0)`, `f(1)`, ... `f(count - 1)`. Each piece is computed by
/// itself, so the results do not depend on the number of threads.
pub(crate) fn map<T: Send>(count: usize, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    map_on(workers(), count, f)
}

fn map_on<T: Send>(workers: usize, count: usize, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let workers = workers.min(count);
    if workers < 2 {
        return (0..count).map(f).collect();
    }
    // Strided shares: neighbours cost alike. Within a share nothing is split
    // further, as the processors are taken.
    let shares: Vec<Vec<T>> = thread::scope(|scope| {
        let f = &f;
        let run = |w: usize| {
            move || with_workers(1, || (w..count).step_by(workers).map(f).collect::<Vec<T>>())
        };
        let handles: Vec<_> = (1..workers).map(|w| scope.spawn(run(w))).collect();
        let mut shares = vec![run(0)()];
        for handle in handles {
            match handle.join() {
                Ok(share) => shares.push(share),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        shares
    });
    let mut shares: Vec<_> = shares.into_iter().map(Vec::into_iter).collect();
    (0..count).filter_map(|i| shares[i % workers].next()).collect()
}

thread_local! {
    /// Threads that work of this one may use, where that is not the machine's choice.
    static WORKERS: Cell<Option<usize>> = const { Cell::new(None) };
}

/// Runs `f` with everything that it would split on so many threads.
pub(crate) fn with_workers<T>(workers: usize, f: impl FnOnce() -> T) -> T {
    let before = WORKERS.replace(Some(workers));
    let out = f();
    WORKERS.set(before);
    out
}

/// Threads for work that can be split.
pub(crate) fn workers() -> usize {
    // Asking the system takes longer than a small product.
    static MACHINE: OnceLock<usize> = OnceLock::new();
    WORKERS.get().unwrap_or_else(|| {
        *MACHINE.get_or_init(|| thread::available_parallelism().map_or(1, NonZeroUsize::get))
    })
}

/// Runs both, side by side where there are processors for it.
pub(crate) fn join(a: impl FnOnce() + Send, b: impl FnOnce() + Send) {
    if workers() < 2 {
        a();
        b();
        return;
    }
    thread::scope(|scope| {
        // A panic is passed on by the scope.
        scope.spawn(|| with_workers(1, a));
        with_workers(1, b);
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_keep_their_order_on_any_number_of_threads() {
        for count in [0, 1, 2, 7, 64] {
            let expected: Vec<usize> = (0..count).map(|i| i * i).collect();
            for workers in 1..6 {
                assert_eq!(map_on(workers, count, |i| i * i), expected);
            }
        }
    }
}
