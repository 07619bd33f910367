//! How far something long has come: a bar where somebody watches, and now and then a line where a file or a program listens.

use std::io::Write;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Lines in all where no terminal is; more would bury what matters in a log.
const LINES: u64 = 10;

/// How far something has come.
pub(crate) struct Progress {
    bar: Option<ProgressBar>,
    /// What is told, and the last line of it that was written, where no terminal is.
    told: (&'static str, u64),
}

impl Progress {
    /// Begins; `watched` says whether standard error is a terminal.
    pub(crate) fn new(watched: bool) -> Self {
        let bar = watched.then(|| {
            let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr());
            match ProgressStyle::with_template(
                "{msg} {bar:30} {human_pos} of {human_len}, {eta} left",
            ) {
                Ok(style) => bar.with_style(style),
                Err(_) => bar,
            }
        });
        Self { bar, told: ("", 0) }
    }

    /// `what` has come to `done` of `of`.
    pub(crate) fn tell(&mut self, err: &mut dyn Write, what: &'static str, done: u64, of: u64) {
        if let Some(bar) = &self.bar {
            bar.set_message(what);
            bar.set_length(of);
            bar.set_position(done);
            return;
        }
        if self.told.0 != what {
            self.told = (what, 0);
        }
        let line = (done * LINES).checked_div(of).unwrap_or(LINES);
        // The end is told by the answer itself.
        if line > self.told.1 && done < of {
            self.told.1 = line;
            let _ = writeln!(err, "{what} {done} of {of}");
        }
    }

    /// Ends, and takes the bar away.
    pub(crate) fn end(&self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(steps: impl IntoIterator<Item = (&'static str, u64, u64)>) -> Vec<String> {
        let (mut progress, mut err) = (Progress::new(false), Vec::new());
        for (what, done, of) in steps {
            progress.tell(&mut err, what, done, of);
        }
        progress.end();
        let text = String::from_utf8(err).expect("UTF-8");
        text.lines().map(str::to_owned).collect()
    }

    #[test]
    fn a_log_gets_few_lines_and_short_work_none() {
        assert!(lines([("sending", 40, 40)]).is_empty());
        assert!(lines([("sending", 0, 0)]).is_empty());
        let long = lines((0..=1000).map(|n| ("fetching", n, 1000)));
        assert_eq!(long.len(), 9, "{long:?}");
        assert_eq!(long[0], "fetching 100 of 1000");
        assert_eq!(
            lines([("sending", 50, 100), ("fetching", 50, 100)]),
            ["sending 50 of 100", "fetching 50 of 100"]
        );
    }
}
