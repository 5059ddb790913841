//! Time and memory of the stages of a run, for people who ask how a large book behaves.

use serde::Serialize;
use std::time::Instant;

/// Time and memory of a run. Measured, so different each time; it is no part of a report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Timings {
    /// Version of the program.
    pub version: &'static str,
    /// Processors that may be used.
    pub processors: usize,
    /// What there was to do.
    pub work: Work,
    /// In order; a stage entered twice is listed once, its times added up.
    pub stages: Vec<StageTime>,
    /// Seconds from the start of the command.
    pub wall_seconds: f64,
    /// Seconds of all processors together; `None` where the system does not tell.
    pub cpu_seconds: Option<f64>,
    /// Most memory held at once, bytes; `None` where the system does not tell.
    pub peak_memory_bytes: Option<u64>,
}

/// How much there was to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Work {
    /// Files and sheets of the book.
    pub files: usize,
    /// Those whose rows came from the cache.
    pub files_from_cache: usize,
    /// Rows of all files.
    pub rows: u64,
    /// Tree-seasons linked.
    pub tree_seasons: usize,
}

/// One stage.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StageTime {
    /// Word for the stage.
    pub stage: &'static str,
    /// Seconds by the clock.
    pub wall_seconds: f64,
    /// Seconds of all processors together.
    pub cpu_seconds: Option<f64>,
    /// Most memory held at once from the start to the end of the stage, bytes.
    pub peak_memory_bytes: Option<u64>,
}

/// Where a run stands.
#[derive(Debug, Clone, Copy)]
struct Reading {
    wall: f64,
    cpu: Option<f64>,
}

/// Measures stages one after the other.
#[derive(Debug)]
pub struct Clock {
    start: Instant,
    stage: Option<(&'static str, Reading)>,
    stages: Vec<StageTime>,
}

impl Clock {
    /// Starts.
    #[must_use]
    pub fn start() -> Self {
        Self { start: Instant::now(), stage: None, stages: Vec::new() }
    }

    fn reading(&self) -> Reading {
        Reading { wall: self.start.elapsed().as_secs_f64(), cpu: cpu_seconds() }
    }

    /// Ends the stage before and starts another.
    pub fn enter(&mut self, stage: &'static str) {
        let now = self.reading();
        self.end(now);
        self.stage = Some((stage, now));
    }

    fn end(&mut self, now: Reading) {
        let Some((stage, began)) = self.stage.take() else { return };
        let wall_seconds = now.wall - began.wall;
        let cpu_seconds = now.cpu.zip(began.cpu).map(|(now, began)| now - began);
        let peak_memory_bytes = peak_memory_bytes();
        match self.stages.iter_mut().find(|own| own.stage == stage) {
            Some(own) => {
                own.wall_seconds += wall_seconds;
                own.cpu_seconds = own.cpu_seconds.zip(cpu_seconds).map(|(a, b)| a + b);
                own.peak_memory_bytes = peak_memory_bytes;
            }
            None => {
                self.stages.push(StageTime { stage, wall_seconds, cpu_seconds, peak_memory_bytes })
            }
        }
    }

    /// Ends the running stage and tells all.
    pub fn read(&mut self, work: Work) -> Timings {
        let now = self.reading();
        self.end(now);
        Timings {
            version: env!("CARGO_PKG_VERSION"),
            processors: std::thread::available_parallelism().map_or(1, usize::from),
            work,
            stages: self.stages.clone(),
            wall_seconds: now.wall,
            cpu_seconds: now.cpu,
            peak_memory_bytes: peak_memory_bytes(),
        }
    }
}

/// Ticks of `/proc/self/stat` per second: fixed at 100 for programs on Linux.
const TICKS: f64 = 100.0;

/// Seconds of all processors, in the program and in the system for it.
fn cpu_seconds() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    // The name stands in parentheses and may hold blanks; utime and stime are fields 14 and 15.
    let mut fields = text.rsplit_once(')')?.1.split_whitespace().skip(11);
    let mut next = || fields.next()?.parse::<f64>().ok();
    Some((next()? + next()?) / TICKS)
}

/// Most memory held at once.
fn peak_memory_bytes() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kib: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kib * 1024)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stages_are_told_apart_and_added_up() {
        let mut clock = Clock::start();
        for stage in ["a", "b", "a"] {
            clock.enter(stage);
        }
        let timings = clock.read(Work::default());
        let names: Vec<&str> = timings.stages.iter().map(|stage| stage.stage).collect();
        assert_eq!(names, ["a", "b"]);
        let sum: f64 = timings.stages.iter().map(|stage| stage.wall_seconds).sum();
        assert!(sum >= 0.0 && sum <= timings.wall_seconds);
        if cfg!(target_os = "linux") {
            assert!(timings.peak_memory_bytes.is_some_and(|bytes| bytes > 1 << 20));
            assert!(timings.cpu_seconds.is_some_and(|seconds| seconds >= 0.0));
        }
    }
}
