//! Independent pieces of work on all processors, with results in order.

use std::num::NonZeroUsize;
use std::thread;

/// Results of `f(0)`, `f(1)`, ... `f(count - 1)`. Each piece is computed by
/// itself, so the results do not depend on the number of threads.
pub(crate) fn map<T: Send>(count: usize, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    map_on(thread::available_parallelism().map_or(1, NonZeroUsize::get), count, f)
}

fn map_on<T: Send>(workers: usize, count: usize, f: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let workers = workers.min(count);
    if workers < 2 {
        return (0..count).map(f).collect();
    }
    // Strided shares: neighbours cost alike.
    let shares: Vec<Vec<T>> = thread::scope(|scope| {
        let f = &f;
        let run = |w: usize| move || (w..count).step_by(workers).map(f).collect::<Vec<T>>();
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

/// Runs both, side by side where there are processors for it.
pub(crate) fn join(a: impl FnOnce() + Send, b: impl FnOnce() + Send) {
    if thread::available_parallelism().map_or(1, NonZeroUsize::get) < 2 {
        a();
        b();
        return;
    }
    thread::scope(|scope| {
        // A panic is passed on by the scope.
        scope.spawn(a);
        b();
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
