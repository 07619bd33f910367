//! What must hold, in a story's steps and at its end. `I1` and the like are the invariants that the tests of syncing share.

use chrono::TimeDelta;
use whorl_care::ids::EventId;
use whorl_cli::failure::Failure;
use whorl_cli::outbox::{self, State};
use whorl_cli::{herd, mirror};
use whorl_contract::chain;
use whorl_contract::problem::Kind as Problems;

use super::Story;
use crate::server::{head_of, place};

impl Story {
    /// I9: a device shows no horse that the last answer didn't name.
    pub(super) fn sees_only_what_is_named(&mut self, n: usize) -> Result<(), String> {
        let client = &mut self.clients[n];
        let shows = client.shows();
        let named = client.heard.named.clone().unwrap_or_default();
        match shows.into_iter().find(|horse| !named.contains(horse)) {
            Some(horse) => Err(format!(
                "I9: a device shows {horse}, which is not its to see"
            )),
            None => Ok(()),
        }
    }

    /// What must hold after every step.
    pub(super) fn hold(&mut self) -> Result<(), String> {
        if let Some(broken) = &self.server.broken {
            return Err(broken.clone());
        }
        for n in 0..self.clients.len() {
            if self.clients[n].has_changed() {
                self.copies_are_sound(n)?;
            }
            self.nothing_recorded_is_dropped(n)?;
        }
        self.nothing_is_missing()
    }

    /// I1: what was acknowledged is in a log; what a restore took is on some device, unless the last one had to give it up.
    fn nothing_is_missing(&mut self) -> Result<(), String> {
        let dropped = std::mem::take(&mut self.server.dropped);
        self.missing.extend(dropped);
        let server = &self.server;
        self.missing
            .retain(|id| server.disk.find(*id).is_none() && !server.is_held(*id));
        // A late request may bring back what nobody had any more.
        self.lost.retain(|id| server.disk.find(*id).is_none());
        for id in &self.missing {
            let kept = self
                .clients
                .iter_mut()
                .any(|client| client.keeps(*id).anywhere());
            if !kept && !self.lost.contains(id) {
                if !self.given_up {
                    return Err(format!("I12: the last copy of {id} was dropped"));
                }
                self.lost.insert(*id);
            }
        }
        for client in &self.clients {
            for id in &client.heard.acknowledged {
                if self.server.disk.find(*id).is_none()
                    && !self.missing.contains(id)
                    && !self.was_held(*id)
                {
                    return Err(format!("I1: {id} was acknowledged and is in no log"));
                }
            }
        }
        Ok(())
    }

    /// What was in a log, lost by a restore, and pushed again by then under no grant, waits for the owner.
    fn was_held(&self, id: EventId) -> bool {
        self.tally.restores > 0 && self.server.is_held(id)
    }

    /// I7, I11: each copy is the beginning of a log that the server once had, and says what was signed.
    fn copies_are_sound(&mut self, n: usize) -> Result<(), String> {
        let conn = self.clients[n].open();
        for horse in mirror::horses(conn).map_err(text)? {
            let mut head = chain::start(horse);
            for (index, entry) in mirror::log(conn, horse).map_err(text)?.iter().enumerate() {
                let seq = place(index + 1);
                head = chain::next(&head, &entry.leaf.0);
                if (entry.seq, entry.head.0) != (seq, head) {
                    return Err(format!("I11: the copy of {horse} breaks at {seq}"));
                }
                if self.seen.insert((n, horse, seq), head) == Some(head) {
                    continue;
                }
                if !self.server.ever.contains(&(horse, seq, head)) {
                    return Err(format!(
                        "I7: the server never had entry {seq} of {horse} so"
                    ));
                }
                let genuine = entry.event().is_some_and(|event| event.open().is_ok());
                if !genuine {
                    return Err(format!("I7: entry {seq} of {horse} is not what was signed"));
                }
            }
        }
        Ok(())
    }

    /// I12: what a device recorded is in its outbox or its copy, once, unless the server has it and the horse is gone.
    fn nothing_recorded_is_dropped(&mut self, n: usize) -> Result<(), String> {
        let own = self.recorded.iter().filter(|(_, one)| one.client == n);
        for (id, one) in own {
            let client = &mut self.clients[n];
            let kept = client.keeps(*id);
            if kept.twice {
                return Err(format!("I11: {id} is in the log and waits, too"));
            }
            // Another device may have made the same id for something else; ours waits then, or is refused.
            if kept.outbox.is_none() && kept.leaf.is_some_and(|leaf| leaf != one.leaf) {
                return Err(format!("I3: {id} gave way to another body"));
            }
            if !kept.anywhere()
                && !client.heard.acknowledged.contains(id)
                && !client.heard.sent.contains(id)
            {
                return Err(format!("I12: {id} was never sent and is gone"));
            }
            let server_has_it = self.server.disk.find(*id).is_some() || self.missing.contains(id);
            if !kept.anywhere() && !server_has_it && !client.heard.acknowledged.contains(id) {
                return Err(format!("I12: {id} was never acknowledged and is gone"));
            }
            // It may have been in a log before, and lost there.
            let waits = kept
                .outbox
                .is_some_and(|state| state != State::Acknowledged);
            if waits {
                self.waited.insert((n, *id));
            } else if self.waited.remove(&(n, *id)) && !kept.anywhere() && !server_has_it {
                return Err(format!("I12: {id} waited, is in no log and is gone"));
            }
        }
        Ok(())
    }

    pub(super) fn all_are_the_same(&mut self) -> Result<(), String> {
        let logs = self.server.disk.logs.clone();
        for client in &mut self.clients {
            if self.server.disk.revoked.contains(&client.device.id) {
                continue;
            }
            let conn = client.open();
            for (horse, log) in &logs {
                let ours = mirror::place(conn, *horse).map_err(text)?;
                if (ours.seq, ours.head) != (place(log.len()), head_of(*horse, log)) {
                    return Err(format!(
                        "a device has {} entries of {horse}, and the server {}",
                        ours.seq,
                        log.len()
                    ));
                }
            }
            if let Some(horse) = herd::aside(conn).map_err(text)?.first() {
                return Err(format!("{horse} is out of sight still"));
            }
        }
        Ok(())
    }

    pub(super) fn all_that_was_recorded_is_there(&mut self) -> Result<(), String> {
        for (id, one) in &self.recorded {
            let there = self.server.disk.find(*id).map(|entry| entry.leaf);
            if there == Some(one.leaf) || self.lost.contains(id) {
                continue;
            }
            let client = &mut self.clients[one.client];
            let revoked = self.server.disk.revoked.contains(&client.device.id);
            if there.is_some() {
                let waits = outbox::find(client.open(), *id).map_err(text)?;
                let refused = waits.is_some_and(|entry| entry.state.0 == State::Refused);
                if !refused && !revoked {
                    return Err(format!("I3: another body of {id} was taken for it"));
                }
                continue;
            }
            let conn = client.open();
            let entry = outbox::find(conn, *id).map_err(text)?;
            let refused = entry.as_ref().and_then(whorl_cli::outbox::Entry::refusal);
            let why = refused.as_ref().map(|problem| problem.kind);
            let early = one.note.at > self.server.now + TimeDelta::hours(24);
            let lacks_target = one
                .note
                .corrects
                .is_some_and(|id| self.server.disk.find(id).is_none());
            let right = match why {
                Some(Problems::DeviceRefused) => revoked,
                // What it lacked then may have come once its device could push no more.
                Some(Problems::Invalid) => early || lacks_target || revoked,
                // The owner said no, or nobody had let them in while the device could push.
                Some(Problems::NoGrant) => revoked || self.server.is_held(*id),
                _ => revoked && (entry.is_some() || self.server.is_held(*id)),
            };
            // What another device gives back for a device that was revoked since is refused there; and a revoked device that
            // has the last copy gives nothing back.
            let disk = &self.server.disk;
            let in_reach = self.clients.iter_mut().any(|client| {
                !disk.revoked.contains(&client.device.id) && client.keeps(*id).anywhere()
            });
            let elsewhere = self.missing.contains(id) && (revoked || !in_reach);
            // The owner accepted what can't enter.
            let waits = self.server.is_held(*id) && (revoked || early || lacks_target);
            // Its author's device had to give it up; another gave it back after a restore, and the owner said no.
            let declined = entry.is_none() && self.server.is_declined(*id);
            if !right && !elsewhere && !waits && !declined {
                let state = entry.map(|entry| entry.state.0);
                return Err(format!(
                    "{id} by device {} is in no log ({state:?}, {why:?})",
                    one.client
                ));
            }
        }
        Ok(())
    }
}

#[expect(clippy::needless_pass_by_value, reason = "for `map_err`")]
fn text(failure: Failure) -> String {
    failure.to_string()
}
