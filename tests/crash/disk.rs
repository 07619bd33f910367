//! A disk of our own that loses power, fails and fills up: see `lossy.c`.

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

use whorl_tests::process::{Place, random_below};

/// What a disk writes at once; a power cut leaves each of these old or new.
const SECTOR: usize = 512;

/// Files by the end of their names.
type Files = BTreeMap<String, Vec<u8>>;

/// The disk under one server's database.
pub(crate) struct Disk {
    /// What is on it for good, as the server's life begins.
    durable: Files,
    files: PathBuf,
    trace: PathBuf,
}

/// One thing that was done to a file.
struct Record<'a> {
    kind: u8,
    name: String,
    offset: usize,
    data: &'a [u8],
}

enum Change {
    Written(usize, Vec<u8>),
    Cut(usize),
}

impl Disk {
    /// Puts it under a server that has not begun yet.
    pub(crate) fn under(place: &mut Place) -> Self {
        let layer = place.folder().join("lossy.so");
        let source = concat!(env!("CARGO_MANIFEST_DIR"), "/crash/lossy.c");
        let built = Command::new("cc")
            .args(["-O1", "-shared", "-fPIC", "-o"])
            .arg(&layer)
            .args([source, "-ldl"])
            .status()
            .expect("a C compiler");
        assert!(built.success(), "lossy.c can't be compiled");
        let disk = Self {
            durable: Files::new(),
            files: place.file(),
            trace: place.folder().join("trace"),
        };
        let text = |path: &PathBuf| path.to_str().expect("UTF-8").to_owned();
        place.set("LD_PRELOAD", text(&layer));
        place.set("LOSSY_FILES", text(&disk.files));
        place.set("LOSSY_TRACE", text(&disk.trace));
        place.set("LOSSY_FAIL", text(&place.folder().join("fail")));
        disk
    }

    /// What is there now is there for good: nothing is under way, since no server runs.
    pub(crate) fn settle(&mut self) {
        self.durable = self.read();
        let _ = fs::remove_file(&self.trace);
    }

    /// The power is gone, and the server with it: leaves of what was not flushed whatever chance leaves, or nothing.
    pub(crate) fn lose_power(&mut self, keep_some: bool) {
        let mut files = std::mem::take(&mut self.durable);
        for (name, changes) in replay(&fs::read(&self.trace).unwrap_or_default(), &mut files) {
            if keep_some {
                let file = files.entry(name).or_default();
                // None of it, all of it, or a part.
                let parts = random_below(5);
                for change in changes {
                    leave(file, change, parts);
                }
            }
        }
        for name in self.read().keys().map(String::as_str).chain(["-shm"]) {
            let _ = fs::remove_file(self.file(name));
        }
        for (name, bytes) in &files {
            fs::write(self.file(name), bytes).expect("a file");
        }
        self.settle();
    }

    fn file(&self, name: &str) -> PathBuf {
        let mut path = self.files.clone().into_os_string();
        path.push(name);
        path.into()
    }

    fn read(&self) -> Files {
        let names = ["", "-wal", "-journal"].into_iter();
        names
            .filter_map(|name| Some((name.to_owned(), fs::read(self.file(name)).ok()?)))
            .collect()
    }
}

/// Brings what was flushed to the files; answers what was not.
fn replay(mut trace: &[u8], files: &mut Files) -> BTreeMap<String, Vec<Change>> {
    let mut pending: BTreeMap<String, Vec<Change>> = BTreeMap::new();
    while let Some((record, rest)) = record(trace) {
        trace = rest;
        let Record {
            kind,
            name,
            offset,
            data,
        } = record;
        let waiting = pending.entry(name.clone()).or_default();
        match kind {
            b'W' => waiting.push(Change::Written(offset, data.to_vec())),
            b'T' => waiting.push(Change::Cut(offset)),
            b'S' => {
                let file = files.entry(name).or_default();
                for change in std::mem::take(waiting) {
                    apply(file, change);
                }
            }
            // Linux takes for clean what it failed to flush: it is never flushed again.
            b'F' => waiting.clear(),
            b'U' => {
                waiting.clear();
                files.remove(&name);
            }
            other => panic!("a record of kind {other}"),
        }
    }
    pending
}

/// The next record; none if it was cut short.
fn record(trace: &[u8]) -> Option<(Record<'_>, &[u8])> {
    let number = |at: usize| -> Option<usize> {
        let bytes = trace.get(at..at + 8)?.try_into().ok()?;
        usize::try_from(u64::from_ne_bytes(bytes)).ok()
    };
    let kind = *trace.first()?;
    let name_length = usize::from(u16::from_ne_bytes(trace.get(1..3)?.try_into().ok()?));
    let (offset, length) = (number(3)?, number(11)?);
    let name = trace.get(19..19 + name_length)?;
    let name = String::from_utf8(name.to_vec()).ok()?;
    let data = 19 + name_length;
    let bytes = trace.get(data..data + length)?;
    let record = Record {
        kind,
        name,
        offset,
        data: bytes,
    };
    Some((record, &trace[data + length..]))
}

fn apply(file: &mut Vec<u8>, change: Change) {
    match change {
        Change::Written(offset, data) => {
            let end = offset + data.len();
            file.resize(file.len().max(end), 0);
            file[offset..end].copy_from_slice(&data);
        }
        Change::Cut(size) => file.resize(size, 0),
    }
}

/// Some of its sectors reach the disk, in so many of four cases.
fn leave(file: &mut Vec<u8>, change: Change, parts: u64) {
    match change {
        Change::Written(offset, data) => {
            for (n, sector) in data.chunks(SECTOR).enumerate() {
                if random_below(4) < parts {
                    apply(file, Change::Written(offset + n * SECTOR, sector.to_vec()));
                }
            }
        }
        Change::Cut(size) if random_below(4) < parts => file.resize(size, 0),
        Change::Cut(_) => {}
    }
}
