//! The process itself, as Linux tells of it under `/proc/self`; elsewhere these stay at nothing.

use std::fs;
use std::sync::atomic::{AtomicI64, AtomicU64};

use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::registry::{Registry, Unit};

/// Ticks of the processor's time in a second: fixed for programs on Linux (`USER_HZ`, time(7)).
const TICKS: f64 = 100.0;

/// What the process uses. The names are those that Prometheus' own libraries have for it.
#[derive(Debug)]
pub(super) struct Process {
    memory: Gauge<i64, AtomicI64>,
    files: Gauge<i64, AtomicI64>,
    most_files: Gauge<i64, AtomicI64>,
    cpu: Counter<f64, AtomicU64>,
}

impl Process {
    pub(super) fn new(registry: &mut Registry) -> Self {
        let new = Self {
            memory: Gauge::default(),
            files: Gauge::default(),
            most_files: Gauge::default(),
            cpu: Counter::default(),
        };
        registry.register_with_unit(
            "resident_memory",
            "Memory in use",
            Unit::Bytes,
            new.memory.clone(),
        );
        registry.register("open_fds", "Open files and connections", new.files.clone());
        registry.register("max_fds", "How many may be open", new.most_files.clone());
        registry.register_with_unit(
            "cpu",
            "Time on the processor",
            Unit::Seconds,
            new.cpu.clone(),
        );
        new
    }

    /// Looks at how it is now.
    pub(super) fn look(&self) {
        let read =
            |file: &str| fs::read_to_string(format!("/proc/self/{file}")).unwrap_or_default();
        self.memory.set(resident(&read("status")));
        let files = fs::read_dir("/proc/self/fd").map_or(0, Iterator::count);
        self.files.set(i64::try_from(files).unwrap_or(i64::MAX));
        self.most_files.set(most_files(&read("limits")));
        let used = seconds(&read("stat")) - self.cpu.get();
        if used > 0.0 {
            self.cpu.inc_by(used);
        }
    }
}

/// The memory in use, in bytes, from `status`: `VmRSS:     1234 kB`.
fn resident(status: &str) -> i64 {
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let kilobytes = line.and_then(|line| line.split_whitespace().next()?.parse::<i64>().ok());
    kilobytes.unwrap_or(0) * 1024
}

/// The soft limit, from `limits`: `Max open files   1024   524288   files`.
fn most_files(limits: &str) -> i64 {
    let line = limits
        .lines()
        .find_map(|line| line.strip_prefix("Max open files"));
    line.and_then(|line| line.split_whitespace().next()?.parse().ok())
        .unwrap_or(0)
}

/// Seconds on the processor, from `stat`: its 14th and 15th field, counted past the program's name in brackets.
fn seconds(stat: &str) -> f64 {
    let after = stat.rsplit_once(')').map_or("", |(_, after)| after);
    let ticks = after.split_whitespace().skip(11).take(2);
    ticks
        .filter_map(|ticks| ticks.parse::<f64>().ok())
        .sum::<f64>()
        / TICKS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_linux_writes_is_read() {
        assert_eq!(
            resident("Name:\twhorl\nVmRSS:\t   29320 kB\n"),
            29_320 * 1024
        );
        let limits = "Limit  Soft  Hard  Units\nMax open files            1024                 524288               files\n";
        assert_eq!(most_files(limits), 1024);
        // proc(5): utime and stime, here 250 and 50 ticks, after a name that tries to confuse.
        let stat = "42 (a) b (c)) S 1 42 42 0 -1 4194560 900 0 0 0 250 50 0 0 20 0 4 0 1 2 3";
        assert!((seconds(stat) - 3.0).abs() < 1e-9);
        assert_eq!((resident(""), most_files("")), (0, 0));
        assert!(seconds("").abs() < 1e-9);
    }
}
