//! When the server's log isn't the one that it showed before: our copy is kept apart, the difference is said plainly,
//! and the entries that the server lost are queued to be pushed back, with their ids and signatures.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use diesel::sqlite::SqliteConnection;
use uuid::Uuid;
use whorl_care::ids::{EventId, HorseId};
use whorl_care::sentence::counted;
use whorl_contract::horse::NewHorse;
use whorl_contract::key::Hash;
use whorl_contract::sync::{HeadInfo, Heads, Pull, Signer, Want};

use super::check::{self, Misfit, Why};
use super::{Ledger, Report, apply, label};
use crate::failure::Failure;
use crate::home::Home;
use crate::mirror::{self, Logged, Place};
use crate::{herd, outbox, setting, signers};

/// Entries of a page while a whole log is fetched again.
const PAGE: u32 = 500;

/// What doesn't fit, in plain words.
#[must_use]
pub fn words(misfit: &Misfit, horse: &str) -> String {
    format!(
        "the record of {horse} doesn't fit at entry {}: {}",
        misfit.seq, misfit.why
    )
}

/// A whole log, and the devices that signed it.
type Whole = (Vec<Logged>, Vec<Signer>);

/// The repairs of one sync.
pub(super) struct Repair<'x> {
    pub(super) conn: &'x mut SqliteConnection,
    pub(super) ledger: &'x mut dyn Ledger,
    pub(super) home: &'x Home,
    pub(super) now: DateTime<Utc>,
    /// Whether the server said that it began anew; else a changed log is an alarm.
    pub(super) restored: bool,
    pub(super) report: &'x mut Report,
    /// Entries queued to be given back.
    pub(super) queued: usize,
    /// Whether horses are to be opened again.
    pub(super) opened: bool,
}

impl Repair<'_> {
    /// Says that a log doesn't fit.
    pub(super) fn alarm(&mut self, misfit: &Misfit) {
        let horse = label(self.conn, misfit.horse_id);
        self.report.alarms.push(words(misfit, &horse));
    }

    /// The server lost what comes after `common`.
    pub(super) fn give_back(&mut self, horse_id: HorseId, common: i64) -> Result<(), Failure> {
        let (kept, queued) = self.cut(horse_id, common, &[])?;
        self.tell(horse_id, common, kept, queued)
    }

    /// The server's log is another one from some place on: fetches it whole, and takes it over if it is sound in
    /// itself; else ours stays as it is. So it does if not all comes that was announced, as when the horse's grant ended
    /// meanwhile: the next sync compares again.
    pub(super) fn part(&mut self, head: &HeadInfo) -> Result<(), Failure> {
        let horse_id = head.horse_id;
        let (theirs, new) = match self.whole(head)? {
            Ok(Some(whole)) => whole,
            Ok(None) => return Ok(()),
            Err(misfit) => {
                self.alarm(&misfit);
                return Ok(());
            }
        };
        let common = self.common(horse_id, &theirs)?;
        for signer in &new {
            signers::add(self.conn, signer, self.now)?;
        }
        let (kept, queued) = self.cut(horse_id, common, &theirs)?;
        self.report.pulled += theirs.len() - usize::try_from(common).unwrap_or(0).min(theirs.len());
        if kept > 0 {
            self.tell(horse_id, common, kept, queued)?;
        }
        Ok(())
    }

    /// The server's log from its beginning to `head`, verified in itself; nothing if it sends less than that.
    fn whole(&mut self, head: &HeadInfo) -> Result<Result<Option<Whole>, Misfit>, Failure> {
        let horse_id = head.horse_id;
        let mut place = Place::start(horse_id);
        let mut entries: Vec<Logged> = Vec::new();
        let mut known: BTreeMap<_, _> = signers::all(self.conn)?;
        while place.seq < head.seq {
            let wants = vec![Want {
                horse_id,
                after: place.seq,
            }];
            let limit = Some(PAGE);
            let pulled = self.ledger.pull(&Pull { wants, limit })?;
            known = check::introduce(&known, &pulled.signers).0;
            let run = pulled.runs.iter().find(|run| run.horse_id == horse_id);
            let Some(run) = run.filter(|run| !run.events.is_empty()) else {
                return Ok(Ok(None));
            };
            match check::run(run, place, &known) {
                Ok(checked) => entries.extend(checked),
                Err(misfit) => return Ok(Err(misfit)),
            }
            if let Some(last) = entries.last() {
                place = Place {
                    seq: last.seq,
                    head: last.head.0,
                };
            }
        }
        let at_head = match usize::try_from(head.seq) {
            Ok(0) => Some(Place::start(horse_id).head),
            Ok(n) => entries.get(n - 1).map(|entry| entry.head.0),
            Err(_) => None,
        };
        if at_head == Some(head.head) {
            Ok(Ok(Some((entries, known.into_values().collect()))))
        } else {
            Ok(Err(Misfit {
                horse_id,
                seq: head.seq,
                why: Why::OtherHead,
            }))
        }
    }

    /// The last place up to which both logs are the same.
    fn common(&mut self, horse_id: HorseId, theirs: &[Logged]) -> Result<i64, Failure> {
        let ours = mirror::log(self.conn, horse_id)?;
        let same = ours
            .iter()
            .zip(theirs)
            .take_while(|(ours, theirs)| ours.head == theirs.head)
            .count();
        Ok(i64::try_from(same).unwrap_or(i64::MAX))
    }

    /// Keeps ours after `common` apart, puts theirs in its place, and queues what theirs lacks. Answers how many were
    /// kept apart and how many queued.
    fn cut(
        &mut self,
        horse_id: HorseId,
        common: i64,
        theirs: &[Logged],
    ) -> Result<(usize, usize), Failure> {
        let (now, alarms) = (self.now, &mut self.report.alarms);
        let device = self.home.membership()?.map(|member| member.device_id);
        let there: BTreeMap<EventId, Hash> = theirs
            .iter()
            .filter_map(|entry| Some((entry.event_id?.0, entry.leaf.0)))
            .collect();
        let leaves: std::collections::BTreeSet<Hash> =
            theirs.iter().map(|entry| entry.leaf.0).collect();
        let counts = self.conn.immediate_transaction(|conn| {
            let epoch: Option<Uuid> = setting::get(conn, setting::EPOCH)?;
            let kept = mirror::keep_apart(conn, horse_id, common, epoch, now)?;
            for entry in theirs.iter().filter(|entry| entry.seq > common) {
                apply::take(conn, entry)?;
            }
            for entry in theirs {
                apply::erase(conn, entry)?;
            }
            let mut queued = 0;
            for entry in &kept {
                let (Some(id), Some(event)) = (entry.event_id, entry.event()) else {
                    continue;
                };
                if leaves.contains(&entry.leaf.0) {
                    continue;
                }
                if there.contains_key(&id.0) {
                    let horse = label(conn, horse_id);
                    alarms.push(format!(
                        "the record of {horse} has an entry {} that says something else than our copy of entry {}",
                        id.0, entry.seq
                    ));
                    // The server will refuse it; what was recorded here is for its author to see, and to record anew.
                    let signed_by = event.open().ok().map(|opened| opened.envelope.device_id);
                    if signed_by != device {
                        continue;
                    }
                }
                let kind = entry.kind.as_deref().unwrap_or_default();
                outbox::give_back(conn, id.0, horse_id, kind, &event, now)?;
                queued += 1;
            }
            Ok::<_, Failure>((kept.len(), queued))
        })?;
        self.queued += counts.1;
        Ok(counts)
    }

    /// Says that the server's log is another one: a notice if it is known why, else an alarm.
    fn tell(
        &mut self,
        horse_id: HorseId,
        common: i64,
        kept: usize,
        queued: usize,
    ) -> Result<(), Failure> {
        let horse = label(self.conn, horse_id);
        let text = format!(
            "from entry {} on, the server's record of {horse} isn't the one that it showed before: ours is kept apart \
             ({}), and what it lost is pushed back ({queued})",
            common + 1,
            counted(kept, "entry", "entries")
        );
        // A horse that was gone after a restore is named again only later, and its log is compared only then.
        if self.restored || herd::aside(self.conn)?.contains(&horse_id) {
            self.report.notices.push(text);
        } else {
            self.report.alarms.push(text);
        }
        Ok(())
    }

    /// What the server acknowledged and what is yet not in its log, though our copy is in step with it: it lost that
    /// again. It waits for the next push. Answers how many entries these are.
    pub(super) fn lost_after_all(&mut self, heads: &Heads) -> Result<usize, Failure> {
        let mut count = 0;
        let mut kept = herd::aside(self.conn)?;
        kept.extend(herd::pending(self.conn)?.iter().map(|one| one.new.id));
        for entry in outbox::acknowledged(self.conn)? {
            let horse_id = entry.horse_id.0;
            let head = heads.heads.iter().find(|head| head.horse_id == horse_id);
            if head.is_none() && !kept.contains(&horse_id) {
                // Accepted after the horse went out of sight: the server has it, and it is not ours to see.
                outbox::remove(self.conn, entry.event_id.0)?;
                continue;
            }
            let place = mirror::place(self.conn, horse_id)?;
            if head.is_none_or(|head| head.seq != place.seq || head.head != place.head) {
                continue;
            }
            outbox::retry(self.conn, entry.event_id.0)?;
            count += 1;
            if !self.restored {
                let horse = label(self.conn, horse_id);
                self.report.alarms.push(format!(
                    "the server took {} of {horse} and doesn't have it any more; it is pushed again",
                    entry.kind
                ));
            }
        }
        Ok(count)
    }

    /// The server doesn't name a horse of ours. Mostly the account may not see it any more, and its record is taken off
    /// this device. But an owner always sees their horse, also after selling it, so one of theirs is lost, and so may
    /// others be on a server that lost something: our copy is kept, then, since it may be the last.
    pub(super) fn gone(&mut self, horse_id: HorseId, lost_some: bool) -> Result<(), Failure> {
        let me = self.home.membership()?.map(|member| member.account_id);
        let horse = herd::horse(self.conn, horse_id)?.and_then(|known| known.horse);
        let own = horse.filter(|horse| Some(horse.owner_id) == me);
        if own.is_none() && !lost_some {
            let locked = apply::lock(self.conn, self.home, horse_id, self.now)?;
            self.report.locked.push(locked);
            return Ok(());
        }
        let name = label(self.conn, horse_id);
        let said = if let Some(own) = own {
            let new = NewHorse {
                id: horse_id,
                barn_id: own.barn_id,
            };
            herd::add_pending(self.conn, &new, self.now)?;
            self.opened = true;
            format!(
                "the server doesn't know {name} any more: its record is opened again and given back"
            )
        } else {
            herd::set_aside(self.conn, horse_id, self.now)?;
            format!(
                "the server doesn't know {name} any more: the record stays on this device, out of sight, and goes back \
                 once the horse is there again"
            )
        };
        if self.restored {
            self.report.notices.push(said);
        } else {
            self.report.alarms.push(said);
        }
        Ok(())
    }
}
