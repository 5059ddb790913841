//! Works through the plantations on a few threads.

use crate::args::Plantation;
use crate::assess::assess;
use crate::results::Results;
use crate::row::Row;
use std::io;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

/// Assesses every plantation that is not in the results yet and gives back all rows wanted.
pub fn run(wanted: &[Plantation], results: Results, threads: usize) -> io::Result<Vec<Row>> {
    let todo: Vec<Plantation> =
        wanted.iter().copied().filter(|plantation| !results.has(plantation)).collect();
    eprintln!("{} plantations, {} of them known", wanted.len(), wanted.len() - todo.len());
    let start = Instant::now();
    let next = AtomicUsize::new(0);
    let done = AtomicUsize::new(0);
    let results = Mutex::new(results);
    let work = || -> io::Result<()> {
        while let Some(&plantation) = todo.get(next.fetch_add(1, Ordering::Relaxed)) {
            let rows = assess(plantation);
            let failed = rows.iter().filter(|row| !row.error.is_empty()).count();
            let poisoned = |_| io::Error::other("another worker failed");
            results.lock().map_err(poisoned)?.push(plantation, rows)?;
            let count = done.fetch_add(1, Ordering::Relaxed) + 1;
            let seconds = start.elapsed().as_secs_f64();
            let left = seconds / count as f64 * (todo.len() - count) as f64;
            let note =
                if failed > 0 { format!(", {failed} regions failed") } else { String::new() };
            eprintln!(
                "{count}/{} {} {seconds:.0} s, {left:.0} s left{note}",
                todo.len(),
                plantation.cell
            );
        }
        Ok(())
    };
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads.max(1)).map(|_| scope.spawn(work)).collect();
        workers.into_iter().try_for_each(|worker| {
            worker.join().map_err(|_| io::Error::other("a worker failed"))?
        })
    })?;
    let results = results.into_inner().map_err(|_| io::Error::other("a worker failed"))?;
    let rows = results.finish()?;
    Ok(rows
        .into_iter()
        .filter(|row| row.plantation().is_some_and(|own| wanted.contains(&own)))
        .collect())
}
