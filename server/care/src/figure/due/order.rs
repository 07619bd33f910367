//! What a vet's or farrier's order changes: its interval, or its words, take a rule's place.

use chrono::NaiveDate;

use super::case::Draft;
use crate::calendar::{days_after, days_before};
use crate::kind::Role;
use crate::record::Order;
use crate::sentence::counted;

/// How long ahead of an order's day an item is shown as due, in days (a proposal of ours).
const AHEAD: u32 = 7;

impl Draft<'_> {
    /// Puts an order in the place of the rule, and says so.
    pub(super) fn follow(&mut self, order: &Order<'_>, last: Option<NaiveDate>) {
        let who = match order.role {
            Some(Role::Farrier) => "farrier",
            _ => "vet",
        };
        let made = order.entry.day;
        // Leave to give a dewormer says how and by whom, not when.
        let gives_leave = order.names_actives && order.interval_weeks.is_none();
        self.by_order = !gives_leave;
        for role in &order.roles {
            if !self.who.contains(role) {
                self.who.push(*role);
            }
        }
        if let Some(weeks) = order.interval_weeks {
            let by = match last {
                Some(last) => days_after(last, weeks * 7),
                None => made,
            };
            self.from = Some(days_before(by, AHEAD));
            self.by = Some(by);
            self.ask_vet = false;
            self.reason = format!(
                "every {} by the {who}'s order of {made}",
                counted(weeks, "week", "weeks")
            );
            if let Some(words) = order.instructions {
                self.say(format_args!("“{words}”"));
            }
        } else if let Some(words) = order.instructions {
            // Words can't be counted out. They stand in the place of the schedule; whoever reads the list must read them.
            self.ask_vet = self.ask_vet || !gives_leave;
            let how = if gives_leave {
                "tells how"
            } else {
                "comes first"
            };
            self.say(format_args!("the {who}'s order of {made} {how}: “{words}”"));
        }
    }
}
